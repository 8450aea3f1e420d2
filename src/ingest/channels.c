/* --columns for files whose channels have numbers and no heads: "x=2,y=3,z=4". */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

static quell_status refuse(const char *item, size_t length, const char *what, quell_error *err)
{
    char shown[48];
    return quell_fail(err, QUELL_E_USAGE,
                      "--columns: found '%s', want x=, y= and z= with the numbers of %ss such as x=1,y=2,z=3",
                      quell_printable(shown, sizeof shown, item, length), what);
}

quell_status ingest_channels_option(size_t out[3], const quell_read_options *options, const char *what,
                                    quell_error *err)
{
    size_t channel[3] = {0};
    for (const char *item = options->columns; item != NULL && *item != '\0';) {
        size_t length = strcspn(item, ",");
        double number = 0;
        bool named = length > 2 && item[0] >= 'x' && item[0] <= 'z' && item[1] == '=';
        if (!named || quell_number_read(item + 2, length - 2, '.', &number) != length - 2 ||
            !(number >= 1 && number <= 1e9) || number != floor(number))
            return refuse(item, length, what, err);
        for (size_t k = 0; k < 3; k++)
            if (channel[k] == (size_t)number || (k == (size_t)(item[0] - 'x') && channel[k] != 0))
                return quell_fail(err, QUELL_E_USAGE,
                                  "--columns: found %c=%.0f, want each letter and each %s once", item[0],
                                  number, what);
        channel[item[0] - 'x'] = (size_t)number;
        item += length + (item[length] == ',');
    }
    if (options->columns != NULL && channel[0] + channel[1] + channel[2] == 0)
        return refuse(options->columns, strlen(options->columns), what, err);
    memcpy(out, channel, sizeof channel);
    return QUELL_OK;
}
