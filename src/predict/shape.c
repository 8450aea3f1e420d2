/* Motion through a shaper: every event once for each impulse. */
#include "quell/predict.h"

#include <stdlib.h>

static int earlier(const void *a, const void *b)
{
    const quell_event *first = a, *second = b;
    return (first->time_s > second->time_s) - (first->time_s < second->time_s);
}

quell_status quell_motion_shape(quell_motion_list *list, const quell_motion *motion, const quell_shaper *shaper, quell_error *err)
{
    static const quell_shaper none = {.count = 1, .amplitude = {1}};
    const quell_shaper *through = shaper != NULL ? shaper : &none;
    quell_status status = QUELL_OK;
    for (size_t k = 0; k < through->count; k++)
        for (size_t i = 0; i < motion->count && status == QUELL_OK; i++) {
            const quell_event *event = &motion->event[i];
            double share = through->amplitude[k];
            list->end_s = event->time_s + through->time_s[k];
            status = quell_motion_add_event(list, share * event->velocity_mps, share * event->acceleration_mps2,
                                            share * event->jerk_mps3, err);
        }
    if (list->count > 0) {
        qsort(list->event, list->count, sizeof *list->event, earlier);
        list->end_s = list->event[list->count - 1].time_s;
    }
    return status;
}
