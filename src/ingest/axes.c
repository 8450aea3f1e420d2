/* Which columns are accelerations, and what their first rows tell of the unit. */
#include "ingest/ingest_private.h"

#include <math.h>

static double cell(const ingest_layout *layout, size_t row, size_t column)
{
    return layout->cell[row * layout->dialect.columns + column];
}

bool ingest_column_has_numbers(const ingest_layout *layout, size_t column)
{
    for (size_t r = 0; r < layout->rows; r++)
        if (!isnan(cell(layout, r, column)))
            return true;
    return false;
}

bool ingest_column_is_taken(const ingest_columns *columns, size_t column)
{
    for (size_t s = 0; s < INGEST_SLOTS; s++)
        if (columns->slot[s] == column)
            return true;
    return column == columns->stamps.date || column == columns->stamps.fraction;
}

static bool is_open(const ingest_layout *layout, const ingest_columns *columns, size_t column)
{
    ingest_content content = layout->seen[column].content;
    return (content == INGEST_OF_NUMBERS || content == INGEST_OF_NOTHING) &&
           !ingest_column_is_taken(columns, column);
}

/* Columns with no word of what they are, where more than three come into question: the first three are taken. */
static quell_status note_left_out(ingest_columns *out, const ingest_layout *layout, const size_t *found,
                                  size_t count, quell_error *err)
{
    quell_status status =
        quell_findings_add(&out->notes, layout->arena, "columns", QUELL_WARN, (double)count, 3,
                           "say --columns t=1,x=2,y=3,z=4 with the right numbers if that is wrong",
                           "%zu columns may be accelerations; %zu, %zu and %zu are taken as x, y and z",
                           count, found[0] + 1, found[1] + 1, found[2] + 1);
    return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for findings");
}

quell_status ingest_axes_find(ingest_columns *out, const ingest_layout *layout, const ingest_head *head,
                              quell_error *err)
{
    size_t found[INGEST_COLUMNS_MAX] = {0}, count = 0, lettered[3] = {INGEST_NONE, INGEST_NONE, INGEST_NONE};
    ingest_role wanted = INGEST_UNKNOWN;
    for (size_t c = 0; c < layout->dialect.columns; c++)
        if (head[c].role == INGEST_ACCELERATION && is_open(layout, out, c))
            wanted = INGEST_ACCELERATION;
    for (size_t c = 0; c < layout->dialect.columns; c++) {
        if (head[c].role != wanted || !is_open(layout, out, c))
            continue;
        if (!ingest_column_has_numbers(layout, c)) {
            out->empty = head[c].role == INGEST_ACCELERATION ? c : out->empty;
            continue;
        }
        found[count++] = c;
        size_t axis = (size_t)(head[c].axis - 'x');
        if (wanted == INGEST_ACCELERATION && head[c].axis != 0 && lettered[axis] == INGEST_NONE)
            lettered[axis] = c;
    }
    bool letters = lettered[0] != INGEST_NONE || lettered[1] != INGEST_NONE || lettered[2] != INGEST_NONE;
    size_t axes = 0;
    for (size_t i = 0; i < (letters ? 3 : count) && axes < 3; i++)
        if (!letters || lettered[i] != INGEST_NONE)
            out->slot[++axes] = letters ? lettered[i] : found[i];
    return !letters && count > 3 ? note_left_out(out, layout, found, count, err) : QUELL_OK;
}

/* ---------------------------------------------------------------- gravity in a still moment */

enum { STILL_ROWS = 16 };

/* The length of the acceleration where it changes least over 16 rows, if by less than 5 %. */
static double find_level(const ingest_layout *layout, const ingest_columns *columns)
{
    double length[INGEST_SAMPLE_ROWS], level = NAN, least = 0.05;
    size_t count = 0;
    for (size_t r = 0; r < layout->rows; r++) {
        double square = 0;
        for (size_t s = 1; s <= 3; s++) {
            double value = cell(layout, r, columns->slot[s]);
            square += value * value;
        }
        if (isfinite(square))
            length[count++] = sqrt(square);
    }
    for (size_t first = 0; first + STILL_ROWS <= count; first++) {
        double low = length[first], high = length[first], sum = 0;
        for (size_t i = first; i < first + STILL_ROWS; i++) {
            low = fmin(low, length[i]);
            high = fmax(high, length[i]);
            sum += length[i];
        }
        if (sum > 0 && (high - low) * STILL_ROWS / sum < least) {
            least = (high - low) * STILL_ROWS / sum;
            level = sum / STILL_ROWS;
        }
    }
    return level;
}

void ingest_axes_weigh(ingest_columns *out, const ingest_layout *layout)
{
    out->level = NAN;
    if (out->axes == 3)
        out->level = find_level(layout, out);
    bool varied = false;
    out->whole_numbers = true;
    for (size_t s = 1; s <= out->axes; s++)
        for (size_t r = 0; r < layout->rows; r++) {
            double value = cell(layout, r, out->slot[s]);
            out->whole_numbers = out->whole_numbers && (isnan(value) || value == floor(value));
            varied = varied || fabs(value) > 1;
        }
    out->whole_numbers = out->whole_numbers && varied;
}
