/* Decimal digits read eight at a time, for the loops in which the time of reading goes. */
#ifndef QUELL_BASE_DIGITS_H
#define QUELL_BASE_DIGITS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

/* Bytes that quell_digits_quick may look at, whatever they are. */
enum { QUELL_DIGITS_REACH = 32 };

/* Eight bytes as a number whose lowest byte comes first, each less '0': a digit is now 0 to 9. */
static inline uint64_t quell_digits_load(const char *text)
{
    uint64_t eight;
    memcpy(&eight, text, sizeof eight);
#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ == __ORDER_BIG_ENDIAN__
    eight = __builtin_bswap64(eight);
#endif
    return eight ^ UINT64_C(0x3030303030303030);
}

/* How many of the bytes are digits before the first that is not. Adding 0x76 carries a byte of 10 or more into its top
   bit; what a byte above 0x89 carries into its neighbour only touches bytes after the first that is no digit. */
static inline unsigned quell_digits_count(uint64_t eight)
{
    uint64_t others = ((eight + UINT64_C(0x7676767676767676)) | eight) & UINT64_C(0x8080808080808080);
    return others == 0 ? 8 : (unsigned)__builtin_ctzll(others) >> 3;
}

/* The number that the first `count` (1 to 8) digits make: pairs, then fours, then all eight, each step in one
   multiplication. */
static inline uint64_t quell_digits_value(uint64_t eight, unsigned count)
{
    eight <<= 8 * (8 - count); /* zeros come before them */
    eight = eight * 10 + (eight >> 8);
    uint64_t first = (eight & UINT64_C(0x000000ff000000ff)) * UINT64_C(0x000f424000000064);
    uint64_t second = ((eight >> 16) & UINT64_C(0x000000ff000000ff)) * UINT64_C(0x0000271000000001);
    return (first + second) >> 32;
}

/* Reads a plain number at text, of which QUELL_DIGITS_REACH bytes can be looked at: a minus sign, one to seven
   digits, a point and up to sixteen digits, below 2^53 without the point; no exponent. Returns its length, and the
   correctly rounded value (one operation on exact operands); 0 if it is anything else, even another number. */
static inline size_t quell_digits_quick(const char *text, char decimal_point, double *value)
{
    static const double power[] = {1e0, 1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7, 1e8,
                                   1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16};
    static const uint64_t whole_power[] = {1, 10, 100, 1000, 10000, 100000, 1000000, 10000000, 100000000};
    const char *at = text;
    bool negative = *at == '-';
    at += negative;
    uint64_t eight = quell_digits_load(at);
    unsigned count = quell_digits_count(eight);
    if (count - 1 > 6)
        return 0;
    uint64_t mantissa = quell_digits_value(eight, count);
    unsigned decimals = 0;
    at += count;
    if (*at == decimal_point) {
        at++;
        for (unsigned round = 0; round < 2; round++) {
            eight = quell_digits_load(at);
            count = quell_digits_count(eight);
            if (count > 0)
                mantissa = mantissa * whole_power[count] + quell_digits_value(eight, count);
            decimals += count;
            at += count;
            if (count < 8)
                break;
        }
    }
    unsigned char next = (unsigned char)*at;
    bool goes_on =
        (unsigned)next - '0' < 10 || (next | 0x20) == 'e' || (next | 0x20) == 'd' || next == decimal_point;
    /* nineteen digits cannot have wrapped; the sign and the point are no digits */
    unsigned digits = (unsigned)(at - text) - negative - (decimals > 0);
    if (goes_on || digits > 19 || mantissa >= UINT64_C(1) << 53)
        return 0;
    /* signs come at random: a multiplication costs less than a branch foretold wrong */
    static const double sign[] = {1, -1};
    *value = (double)(int64_t)mantissa / power[decimals] * sign[negative];
    return (size_t)(at - text);
}

#endif
