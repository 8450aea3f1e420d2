/* What the files of base share. */
#ifndef QUELL_BASE_PRIVATE_H
#define QUELL_BASE_PRIVATE_H

#include "quell/base.h"

/* vsnprintf as it prints in the C locale (number.c). */
int quell_print_plain(char *out, size_t size, const char *format, va_list arguments) QUELL_PRINTF(3, 0);

#endif
