/* Is this build under AddressSanitizer, ten times slower? Then statistics over many recordings, which tell nothing of memory, are
   left out or shortened: the other builds run them. */
#ifndef QUELL_TESTS_SANITIZED_H
#define QUELL_TESTS_SANITIZED_H

#if defined(__SANITIZE_ADDRESS__)
#define IS_SANITIZED 1
#elif defined(__has_feature)
#if __has_feature(address_sanitizer)
#define IS_SANITIZED 1
#endif
#endif
#ifndef IS_SANITIZED
#define IS_SANITIZED 0
#endif

#endif
