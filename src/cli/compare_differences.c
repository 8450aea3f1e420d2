/* Where the sides of `quell compare`, or the recordings of one side, were not recorded alike. */
#include "cli/compare_view.h"
#include "cli/sides.h"

#include <math.h>
#include <string.h>

/* What is not there yet, by its kind. */
static quell_status add_findings(cli_run *run, const quell_findings *more, quell_findings *to)
{
    for (size_t i = 0; i < more->count; i++) {
        const quell_finding *new = &more->item[i];
        bool known = false;
        for (size_t k = 0; k < to->count; k++)
            known = known || strcmp(to->item[k].kind, new->kind) == 0;
        if (!known && quell_findings_add(to, run->arena, new->kind, new->severity, new->value, new->limit,
                                         new->remedy, "%s", new->text) != QUELL_OK)
            return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for findings");
    }
    return QUELL_OK;
}

/* Where two recordings differ in what a fair comparison keeps the same. */
static quell_status look_at_pair(cli_run *run, const compare_side *first, size_t i,
                                 const compare_side *second, size_t j, quell_findings *out)
{
    const quell_side was = {&first->loaded[i].recording, &first->loaded[i].mounting,
                            &first->loaded[i].fitness};
    const quell_side is = {&second->loaded[j].recording, &second->loaded[j].mounting,
                           &second->loaded[j].fitness};
    quell_status status = quell_sides_differ(&was, &is, run->arena, out, &run->err);
    if (status == QUELL_OK && first->shaken && second->shaken)
        status = quell_shaking_differ(&first->shaking[i], &second->shaking[j], run->arena, out, &run->err);
    return status;
}

/* The sides against each other; then every further recording against the first of its side. */
quell_status compare_differences(cli_run *run, compare_view *view)
{
    const compare_side *const side[2] = {&view->before, &view->after};
    quell_status status = look_at_pair(run, side[0], 0, side[1], 0, &view->findings);
    if (status == QUELL_OK)
        status = sides_share(run, side[0]->loaded, side[0]->files->count, side[1]->loaded, side[1]->files->count, &view->findings);
    if (status == QUELL_OK)
        cli_say_findings(run, "before and after", &view->findings);
    for (size_t s = 0; s < 2; s++)
        for (size_t i = 1; i < side[s]->files->count && status == QUELL_OK; i++) {
            quell_findings found = {0};
            status = look_at_pair(run, side[s], 0, side[s], i, &found);
            for (size_t k = 0; k < found.count; k++) { /* "before" and "after" are of two sides */
                quell_finding *item = &found.item[k];
                item->text = quell_arena_print(run->arena, "two recordings of the %s side differ: %s",
                                               side[s]->name, item->kind);
                if (item->text == NULL)
                    return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for findings");
            }
            if (status == QUELL_OK)
                cli_say_findings(run, side[s]->files->item[i], &found);
            if (status == QUELL_OK)
                status = add_findings(run, &found, &view->findings);
        }
    return status;
}
