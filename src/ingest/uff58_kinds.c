/* Universal files: what a dataset 58 is, by the numbers and labels of its head. */
#include "ingest/uff58_private.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *uff58_function_name(long function)
{
    static const char *const name[] = {"general function",
                                       "time response",
                                       "auto spectrum",
                                       "cross spectrum",
                                       "frequency response function",
                                       "transmissibility",
                                       "coherence",
                                       "auto correlation",
                                       "cross correlation",
                                       "power spectral density",
                                       "energy spectral density",
                                       "probability density function",
                                       "spectrum",
                                       "cumulative frequency distribution",
                                       "peaks and valleys",
                                       "stress cycles",
                                       "strain cycles",
                                       "orbit",
                                       "mode indicator function",
                                       "force pattern",
                                       "partial power",
                                       "partial coherence",
                                       "eigenvalue",
                                       "eigenvector",
                                       "shock response spectrum",
                                       "finite impulse response filter",
                                       "multiple coherence",
                                       "order function"};
    return function >= 0 && function < (long)INGEST_COUNT(name) ? name[function] : "unknown function";
}

const char *uff58_data_name(long type)
{
    static const struct {
        long type;
        const char *name;
    } row[] = {{0, "unknown data"},
               {1, "general data"},
               {2, "stress"},
               {3, "strain"},
               {5, "temperature"},
               {6, "heat flux"},
               {8, "displacement"},
               {9, "reaction force"},
               {11, "velocity"},
               {12, "acceleration"},
               {13, "excitation force"},
               {15, "pressure"},
               {16, "mass"},
               {17, "time"},
               {18, "frequency"},
               {19, "revolutions per minute"},
               {20, "order"},
               {21, "sound pressure"},
               {22, "sound intensity"},
               {23, "sound power"}};
    for (size_t i = 0; i < INGEST_COUNT(row); i++)
        if (row[i].type == type)
            return row[i].name;
    return "unknown data";
}

bool uff58_unit(ingest_unit *out, quell_dimension dimension, const char *label)
{
    size_t length = strlen(label);
    bool bracketed = length >= 2 && ((label[0] == '(' && label[length - 1] == ')') ||
                                     (label[0] == '[' && label[length - 1] == ']'));
    return bracketed ? ingest_unit_read(out, dimension, label + 1, length - 2)
                     : ingest_unit_read(out, dimension, label, length);
}

/* A general function counts as a record if its abscissa is time. */
static bool is_time_record(const uff58_head *head)
{
    ingest_unit unit;
    long abscissa = head->abscissa.type;
    bool over_time = abscissa == UFF58_TIME || uff58_unit(&unit, QUELL_TIME, head->abscissa.unit);
    if (head->function == 0)
        return over_time;
    return head->function == UFF58_TIME_RESPONSE &&
           (over_time || abscissa == UFF58_UNKNOWN || abscissa == UFF58_GENERAL);
}

uff58_fitness uff58_judge(const uff58_head *head, bool asked, bool picked)
{
    ingest_unit unit;
    const uff58_axis *axis = &head->ordinate;
    if (!is_time_record(head))
        return UFF58_NO_TIME;
    if (axis->type == UFF58_ACCELERATION) /* directions 4 to 6 are rotations */
        return labs(head->direction) > 3 ? UFF58_NO_ACCELERATION : UFF58_FITS;
    if (axis->type != UFF58_UNKNOWN && axis->type != UFF58_GENERAL)
        return UFF58_NO_ACCELERATION;
    ingest_role role = ingest_head_read(axis->label).role;
    if (!(picked && asked) && (role == INGEST_OTHER || role == INGEST_FREQUENCY))
        return UFF58_NO_ACCELERATION;
    bool says_so = role == INGEST_ACCELERATION || uff58_unit(&unit, QUELL_ACCELERATION, axis->unit);
    return says_so || asked ? UFF58_FITS : UFF58_NO_UNIT;
}

const char *uff58_describe(const uff58_head *head, char *out, size_t size)
{
    const uff58_axis *axis = &head->ordinate;
    const char *unit = axis->unit[0] != '\0' ? axis->unit : "no unit",
               *quote = axis->label[0] != '\0' ? "'" : "";
    const bool turns = axis->type == UFF58_ACCELERATION && labs(head->direction) > 3;
    snprintf(out, size, "dataset %zu: %s%s%s%sin %s (%s%s)", head->number, quote, axis->label, quote,
             quote[0] != '\0' ? " " : "", unit, uff58_data_name(axis->type), turns ? " about an axis" : "");
    return out;
}
