/* Parts of the comparison of ringing after stops: the modes of each recording, kinds of strokes, mean and error of a side,
   the change. */
#ifndef QUELL_STOPS_PRIVATE_H
#define QUELL_STOPS_PRIVATE_H

#include "quell/compare.h"

enum { STOPS_GROUPS_MAX = 16 };

/* One recording of a side. */
typedef struct stops_recording {
    const quell_side *from;
    bool sure;         /* its motion was told to be strokes with stops, or said to be; else only tried as such */
    size_t first, end; /* samples in which the strokes are */
    quell_decays decays;
    quell_mode mode[QUELL_MODES_MAX]; /* as taken for this recording; the same order in all */
    bool own[QUELL_MODES_MAX];        /* from its own decays */
    quell_stops stops;
    size_t *group; /* of each stop */
} stops_recording;

typedef struct stops_side {
    size_t count;
    stops_recording *each;
} stops_side;

typedef struct stops_job {
    size_t axis, modes, groups;
    bool alike;
    stops_side side[2]; /* before, after */
} stops_job;

/* The modes to look for in every recording. How many there are is job->modes. */
void stops_choose_modes(stops_job *job, const quell_modes *known);

/* Sets the groups, and whether the sides are alike. */
void stops_group(stops_job *job);
/* Are most of the recording's strokes like some of the sure recordings'? */
bool stops_are_like_sure(const stops_job *job, const stops_recording *recording);

double stops_mean_stroke(const stops_side *side, bool speed);

/* Mean of squared amplitudes of a side, with its error. */
typedef struct stops_mean {
    double power_m2, variance, dof; /* variance: NaN where there is one stop alone */
} stops_mean;

/* mode SIZE_MAX: all together. */
stops_mean stops_side_mean(const stops_job *job, size_t side, size_t mode);

void stops_change_make(quell_stops_change *out, const stops_mean *before, const stops_mean *after);

/* Sentences in the arena; NULL: out of memory. */
const char *stops_words(const quell_stops_comparison *of, quell_arena *arena);

#endif
