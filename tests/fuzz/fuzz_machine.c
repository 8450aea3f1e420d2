/* Fuzz target: machine files, and what is done with what was read: own families designed, the setting expanded. */
#include "fuzz.h"

#include "quell/shaping.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { HEAD = 3 }; /* bytes: the pieces, the trouble, and a line's end to keep the corpus readable */

static quell_status read_machine(quell_machine *out, fuzz_source *state, quell_error *err)
{
    quell_source source = fuzz_source_open(state);
    return quell_machine_read(out, &source, err);
}

static bool is_positive(double value)
{
    return isnan(value) || (isfinite(value) && value > 0);
}

/* A machine file may hold tabs, and so may what is taken and told of it. */
static void check_words(const char *words, const char *what)
{
    char text[sizeof((quell_machine *)NULL)->notes];
    size_t length = strlen(words);
    FUZZ_CHECK(length < sizeof text, "%s", what);
    for (size_t i = 0; i <= length; i++)
        text[i] = (char)(words[i] == '\t' ? ' ' : words[i]);
    fuzz_check_text(text, what);
}

static void check_machine(const quell_machine *machine)
{
    const quell_controller *controller = &machine->controller;
    check_words(machine->name, "name");
    check_words(controller->setting, "setting");
    for (const char *line = machine->notes; *line != '\0';) { /* lines, each ended */
        const char *end = strchr(line, '\n');
        char text[sizeof machine->notes];
        FUZZ_CHECK(end != NULL, "notes: '%s'", line);
        memcpy(text, line, (size_t)(end - line));
        text[end - line] = '\0';
        check_words(text, "notes");
        line = end + 1;
    }
    for (size_t i = 0; i < QUELL_AXES_MAX; i++) {
        const quell_axis_limits *axis = &machine->axis[i];
        FUZZ_CHECK(is_positive(axis->acceleration_mps2) && is_positive(axis->speed_mps) &&
                       is_positive(axis->step_m) && is_positive(axis->moving_mass_kg),
                   "axis %zu", i);
        FUZZ_CHECK(axis->load_kg[0] >= 0 && axis->load_kg[1] >= axis->load_kg[0] &&
                       isfinite(axis->load_kg[1]),
                   "axis %zu", i);
    }
    FUZZ_CHECK(is_positive(machine->rounding_limit_m) && is_positive(machine->residual_limit) &&
                   is_positive(machine->ripple_limit_m),
               "limits");
    FUZZ_CHECK(controller->accepted_count <= QUELL_FAMILIES_ACCEPTED_MAX, "%zu", controller->accepted_count);
    FUZZ_CHECK(machine->own_count <= QUELL_OWN_FAMILIES_MAX, "%zu", machine->own_count);
    FUZZ_CHECK(controller->frequency_range_hz[0] <= controller->frequency_range_hz[1], "range");
    FUZZ_CHECK(isfinite(controller->tick_s) && controller->tick_s >= 0, "%g", controller->tick_s);
}

/* Field by field: the bytes between fields may differ. */
static bool is_same(const quell_machine *a, const quell_machine *b)
{
    const quell_controller *c = &a->controller, *d = &b->controller;
    bool same = strcmp(a->name, b->name) == 0 && strcmp(a->notes, b->notes) == 0 &&
                strcmp(c->setting, d->setting) == 0 && strcmp(c->frequency_unit, d->frequency_unit) == 0 &&
                strcmp(c->damping_unit, d->damping_unit) == 0 && c->takes_shapers == d->takes_shapers &&
                c->accepted_count == d->accepted_count && c->frequency == d->frequency &&
                c->impulses == d->impulses && a->own_count == b->own_count &&
                memcmp(&a->corner_speed_mps, &b->corner_speed_mps, sizeof a->corner_speed_mps) == 0 &&
                memcmp(&a->residual_limit, &b->residual_limit, sizeof a->residual_limit) == 0 &&
                memcmp(c->frequency_range_hz, d->frequency_range_hz, sizeof c->frequency_range_hz) == 0 &&
                memcmp(&c->damping, &d->damping, sizeof c->damping) == 0;
    for (size_t i = 0; i < c->accepted_count && same; i++)
        same = strcmp(c->accepted[i], d->accepted[i]) == 0 && strcmp(c->name[i], d->name[i]) == 0;
    for (size_t i = 0; i < QUELL_AXES_MAX && same; i++)
        same = a->axis[i].present == b->axis[i].present &&
               memcmp(&a->axis[i].acceleration_mps2, &b->axis[i].acceleration_mps2, sizeof(double)) == 0 &&
               memcmp(a->axis[i].load_kg, b->axis[i].load_kg, sizeof a->axis[i].load_kg) == 0;
    for (size_t i = 0; i < a->own_count && same; i++)
        same = strcmp(a->own[i].id, b->own[i].id) == 0 &&
               memcmp(a->own[i].coefficient, b->own[i].coefficient, sizeof a->own[i].coefficient) == 0;
    return same;
}

/* Every own family at a few points: a shaper whose amplitudes sum to 1, or a refusal. */
static void design_own(const quell_machine *machine, quell_arena *arena)
{
    static const quell_design_point points[] = {{.frequency_hz = 47.3, .damping_ratio = 0.046},
                                                {.frequency_hz = 0.1, .damping_ratio = 0},
                                                {.frequency_hz = 900, .damping_ratio = 0.3}};
    for (size_t i = 0; i < machine->own_count; i++)
        for (size_t p = 0; p < sizeof points / sizeof points[0]; p++) {
            quell_shaper shaper;
            quell_error err = {0};
            quell_status status = quell_own_family_design(&shaper, &machine->own[i], &points[p], &err);
            if (status != QUELL_OK) {
                FUZZ_CHECK(status == QUELL_E_USAGE, "status %d: %s", (int)status, err.text);
                continue;
            }
            double sum = 0;
            for (size_t k = 0; k < shaper.count; k++) {
                FUZZ_CHECK(isfinite(shaper.amplitude[k]) && isfinite(shaper.time_s[k]), "impulse %zu", k);
                FUZZ_CHECK(k == 0 || shaper.time_s[k] >= shaper.time_s[k - 1], "impulse %zu", k);
                sum += shaper.amplitude[k];
            }
            FUZZ_CHECK(fabs(sum - 1) < 1e-6, "sum %g", sum);
            char *text = NULL;
            if (quell_machine_setting(machine, 'x', &shaper, machine->own[i].id, 0.1, arena, &text, &err) ==
                QUELL_OK)
                check_words(text, "setting");
        }
}

static void expand_setting(const quell_machine *machine, quell_arena *arena)
{
    for (size_t i = 0; i < machine->controller.accepted_count; i++) {
        const quell_family *family = quell_family_find(machine->controller.accepted[i]);
        if (family == NULL)
            continue; /* one of its own */
        quell_shaper shaper;
        quell_error err = {0};
        char *text = NULL;
        quell_design_point at = {.frequency_hz = 47.3, .damping_ratio = 0.046, .tolerance = 0.05};
        if (quell_shaper_design(&shaper, family, &at, NULL) != QUELL_OK)
            continue;
        quell_status status = quell_machine_setting(machine, 'y', &shaper, machine->controller.accepted[i],
                                                    0.1, arena, &text, &err);
        FUZZ_CHECK(status == QUELL_OK, "%s", err.text);
        check_words(text, "setting");
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    size_t piece = size > 0 ? (uint8_t)(data[0] - '0') + 1u : 1,
           trouble = size > 1 ? (uint8_t)(data[1] - '0') : 0;
    size_t head = size < HEAD ? size : HEAD;
    fuzz_source whole = {.bytes = data + head, .size = size - head}, pieces = whole;
    pieces.piece = piece;
    pieces.fails = trouble > 0;
    pieces.fail_after = trouble * 16;
    quell_machine *machine = calloc(2, sizeof *machine);
    quell_arena *arena = quell_arena_create(FUZZ_ARENA);
    if (machine == NULL || arena == NULL)
        abort();
    quell_error err = {0}, other = {0};
    machine[0].own_count = machine[1].own_count = 4711;
    quell_status status = read_machine(&machine[0], &whole, &err);
    quell_status again = read_machine(&machine[1], &pieces, &other);
    FUZZ_CHECK(pieces.failed ? again == QUELL_E_IO : again == status, "whole: %d, %s; in pieces: %d, %s",
               (int)status, err.text, (int)again, other.text);
    if (status == QUELL_OK) {
        check_machine(machine);
        design_own(machine, arena);
        expand_setting(machine, arena);
        FUZZ_CHECK(pieces.failed || is_same(&machine[0], &machine[1]), "read differently");
    } else {
        if (!pieces.failed)
            fuzz_check_same_error(&err, &other);
        for (char *tab = strchr(err.text, '\t'); tab != NULL; tab = strchr(tab, '\t'))
            *tab = ' ';
        fuzz_check_error(&err, status, "input");
        FUZZ_CHECK(status == QUELL_E_DATA, "status %d: %s", (int)status, err.text);
        FUZZ_CHECK(machine[0].own_count == 4711, "out was touched: %s", err.text);
    }
    quell_arena_destroy(arena);
    free(machine);
    return 0;
}
