/* What `quell spectrum` shows, shared by its table, JSON and CSV. */
#ifndef QUELL_CLI_SPECTRUM_VIEW_H
#define QUELL_CLI_SPECTRUM_VIEW_H

#include "cli/cli.h"

enum { SPECTRUM_PEAKS_MAX = 12 };

/* One recording's spectrum. */
typedef struct spectrum_view {
    const char *file, *name; /* as given; a short name for files and plots, unique in the run */
    cli_recording loaded;
    const cli_idle *idle; /* lines that are there at rest */
    quell_spectrum spectrum;
    double band_hz[2]; /* of the table: where level and peaks are taken from */
    struct {
        double rms_mps2, rms_ci95_mps2[2];
        size_t peaks;
        quell_peak peak[SPECTRUM_PEAKS_MAX];
    } axis[3];
} spectrum_view;

/* The factors of the 95 % band of a bin: wider at 0 Hz and at half the rate. */
void spectrum_factors(const quell_spectrum *spectrum, size_t bin, double factor[2]);

/* The keys of one recording into an object; `quell spectrum` of several has them under `others`. */
void spectrum_json(quell_json *json, json_t *in, const spectrum_view *view);

/* The full spectrum as comma-separated values in DIR/NAME-spectrum.csv. */
quell_status spectrum_csv(cli_run *run, const spectrum_view *view);

#endif
