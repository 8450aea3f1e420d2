/* 1/3-octave bands, base ten. Source: IEC 61260-1:2014, exact mid-band and band-edge frequencies. */
#include "quell/compare.h"

#include <math.h>

quell_third_octave quell_third_octave_band(int index)
{
    /* preferred numbers R10 of ISO 3, by which the bands are named */
    static const double name[10] = {1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8};
    int step = ((index % 10) + 10) % 10;
    int decade = (index - step) / 10 + 3;
    return (quell_third_octave){
        .nominal_hz = decade < 0 ? name[step] / pow(10, -decade) : name[step] * pow(10, decade),
        .mid_hz = pow(10, 3 + index / 10.0),
        .low_hz = pow(10, 3 + (index - 0.5) / 10),
        .high_hz = pow(10, 3 + (index + 0.5) / 10),
    };
}
