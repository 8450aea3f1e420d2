/* Statistics over many recordings tell nothing of memory or of the compiler: they are run in full where gcc builds without the
   sanitizers, and shortened or left out under AddressSanitizer, ten times slower, and where clang builds. */
#ifndef QUELL_TESTS_SHORTENED_H
#define QUELL_TESTS_SHORTENED_H

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

#ifdef __clang__
#define IS_SHORTENED 1
#else
#define IS_SHORTENED IS_SANITIZED
#endif

#endif
