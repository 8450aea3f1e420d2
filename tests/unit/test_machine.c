/* machine file: every field, every refusal with its line, own families, hostile and mutated bytes, no memory. */
#include "suites.h"

#include "choose/machine_private.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static quell_status read_text(quell_machine *out, const char *text, size_t size, quell_error *err)
{
    quell_memory_source state = {text, size, 0};
    quell_source source = quell_source_memory(&state, "m.ini");
    return quell_machine_read(out, &source, err);
}

static quell_status read_string(quell_machine *out, const char *text, quell_error *err)
{
    return read_text(out, text, strlen(text), err);
}

static void must_read(quell_machine *out, const char *text)
{
    quell_error err = {0};
    quell_status status = read_string(out, text, &err);
    ck_assert_msg(status == QUELL_OK, "line %zu: %s", err.line, err.text);
}

/* The file of the design's overview, word for word but for the notes. */
static const char whole[] = "[machine]\n"
                            "name = Heron\n"
                            "[x]                           ; one section per axis\n"
                            "acceleration = 6000 mm/s2     ; what you print with\n"
                            "speed = 200 mm/s\n"
                            "step = 0.0125 mm              ; one motor step (microstep) of travel\n"
                            "moving-mass = 900 g           ; optional, with load\n"
                            "load = 0..300 g\n"
                            "[controller]\n"
                            "shapers = zv zvd twin         ; families it implements\n"
                            "frequency = damped\n"
                            "frequency-unit = rad/s\n"
                            "frequency-step = 0.5 rad/s\n"
                            "frequency-range = 10..150 Hz\n"
                            "damping = 4                   ; in percent\n"
                            "damping-unit = percent\n"
                            "tolerance = 0.07\n"
                            "impulses = 5\n"
                            "impulse-times = differences\n"
                            "tick = 0.05 ms\n"
                            "one-setting-for = frequency damping\n"
                            "axis-delay = yes\n"
                            "setting = \"axis {axis}; type {name} {{at} {frequency}\" ; a comment\n"
                            "names = zv=A zvd=\"B two\"\n"
                            "[family twin]\n"
                            "times = 0 0.5 1\n"
                            "amplitudes = 1 | 0 2 | 0 0 1  ; 1, 2K, K2\n"
                            "[part]\n"
                            "corner-speed = 8 mm/s\n"
                            "rounding-limit = 0.15 mm\n"
                            "residual-limit = 10 %\n"
                            "[notes]\n"
                            "sensor = on the tool head; taped   ; taken off after\n"
                            "belt = 2GT\n";

START_TEST(every_field_is_read)
{
    quell_machine m;
    must_read(&m, whole);
    ck_assert_str_eq(m.name, "Heron");
    ck_assert(m.axis[0].present && !m.axis[1].present && !m.axis[2].present);
    CHECK_NEAR(m.axis[0].acceleration_mps2, 6, 1e-12);
    CHECK_NEAR(m.axis[0].speed_mps, 0.2, 1e-15);
    CHECK_NEAR(m.axis[0].step_m, 12.5e-6, 1e-18);
    CHECK_NEAR(m.axis[0].moving_mass_kg, 0.9, 1e-15);
    CHECK_NEAR(m.axis[0].load_kg[0], 0, 1e-15);
    CHECK_NEAR(m.axis[0].load_kg[1], 0.3, 1e-15);
    ck_assert(isnan(m.axis[1].acceleration_mps2));
    const quell_controller *c = &m.controller;
    ck_assert(c->takes_shapers);
    ck_assert_uint_eq(c->accepted_count, 3);
    ck_assert_str_eq(c->accepted[2], "twin");
    ck_assert_str_eq(c->name[0], "A");
    ck_assert_str_eq(c->name[1], "B two");
    ck_assert_str_eq(c->name[2], "");
    ck_assert_int_eq(c->frequency, QUELL_DAMPED);
    ck_assert_str_eq(c->frequency_unit, "rad/s");
    CHECK_NEAR(c->frequency_step_hz, 0.5 / QUELL_TAU, 1e-15);
    CHECK_NEAR(c->frequency_range_hz[0], 10, 1e-12);
    CHECK_NEAR(c->frequency_range_hz[1], 150, 1e-12);
    CHECK_NEAR(c->damping, 0.04, 1e-15);
    ck_assert(!c->damping_unknown);
    CHECK_NEAR(c->tolerance, 0.07, 1e-15);
    ck_assert_uint_eq(c->impulses, 5);
    ck_assert(c->impulse_times_are_differences);
    CHECK_NEAR(c->tick_s, 5e-5, 1e-18);
    ck_assert_str_eq(c->one_setting_for[0], "frequency");
    ck_assert_str_eq(c->one_setting_for[1], "damping");
    ck_assert_str_eq(c->one_setting_for[2], "");
    ck_assert(c->axis_delay);
    ck_assert_str_eq(c->setting, "axis {axis}; type {name} {{at} {frequency}");
    ck_assert_uint_eq(m.own_count, 1);
    ck_assert_str_eq(m.own[0].id, "twin");
    ck_assert_uint_eq(m.own[0].line, 25);
    CHECK_NEAR(m.corner_speed_mps, 0.008, 1e-16);
    CHECK_NEAR(m.rounding_limit_m, 0.15e-3, 1e-17);
    CHECK_NEAR(m.residual_limit, 0.1, 1e-15);
    ck_assert(isnan(m.ripple_limit_m));
    ck_assert_str_eq(m.notes, "sensor: on the tool head; taped\nbelt: 2GT\n");
}
END_TEST

START_TEST(line_endings_byte_order_mark_and_comment_lines_are_taken)
{
    quell_machine a, b;
    must_read(&a, whole);
    char text[2 * sizeof whole] = "\xef\xbb\xbf# first line\r\n  ; indented comment\r\n\t\r\n";
    size_t used = strlen(text);
    for (size_t i = 0; whole[i] != '\0'; i++) {
        if (whole[i] == '\n')
            text[used++] = '\r';
        text[used++] = whole[i];
    }
    used -= 2; /* and the last line without its ending */
    quell_error err = {0};
    ck_assert_msg(read_text(&b, text, used, &err) == QUELL_OK, "%s", err.text);
    b.own[0].line -= 3;
    ck_assert_mem_eq(a.controller.setting, b.controller.setting, sizeof a.controller.setting);
    ck_assert_str_eq(a.notes, b.notes);
    ck_assert_uint_eq(a.own[0].line, b.own[0].line);
}
END_TEST

START_TEST(unknown_is_taken_where_the_user_may_not_know)
{
    quell_machine m;
    must_read(&m, "[x]\nacceleration = unknown\nspeed=unknown\nstep = unknown\nmoving-mass = unknown\n"
                  "[controller]\ndamping = unknown\nfrequency = unknown\ntolerance = unknown\n"
                  "[part]\ncorner-speed = unknown\nrounding-limit = unknown\n");
    ck_assert(isnan(m.axis[0].acceleration_mps2) && isnan(m.axis[0].speed_mps) && isnan(m.axis[0].step_m) &&
              isnan(m.axis[0].moving_mass_kg) && isnan(m.corner_speed_mps) && isnan(m.rounding_limit_m) &&
              isnan(m.controller.tolerance) && isnan(m.controller.damping));
    ck_assert(m.controller.damping_unknown);
    ck_assert_int_eq(m.controller.frequency, QUELL_READING_UNKNOWN);
    must_read(&m, "[controller]\ndamping = free\nshapers = none\none-setting-for = none\n");
    ck_assert(isnan(m.controller.damping) && !m.controller.damping_unknown && !m.controller.takes_shapers);
    ck_assert_str_eq(m.controller.one_setting_for[0], "");
}
END_TEST

START_TEST(damping_and_step_are_read_in_the_controller_s_units)
{
    static const struct {
        const char *text;
        double damping, step;
    } rows[] = {
        {"[controller]\ndamping = 0.05\n", 0.05, 0},
        {"[controller]\ndamping = 5 %\n", 0.05, 0},
        {"[controller]\ndamping = 5 %\ndamping-unit = percent\n", 0.05, 0},
        {"[controller]\ndamping = 10\ndamping-unit = Q\n", 0.05, 0}, /* Q = 1/(2 zeta) */
        {"[controller]\nfrequency-step = 0.2 ms\nfrequency-unit = s\ndamping = 0\n", 0, 0.0002},
        {"[controller]\nfrequency-step = 250 Hz\ndamping = 0\n", 0, 250},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_machine m;
        must_read(&m, rows[i].text);
        CHECK_NEAR(m.controller.damping, rows[i].damping, 1e-15);
        CHECK_NEAR(m.controller.frequency_step_hz, rows[i].step, 1e-15);
    }
}
END_TEST

/* Text, line and a part of the message for every refusal. */
static const struct {
    const char *text;
    size_t line;
    const char *says;
} refusals[] = {
    {"", 0, "found no section"},
    {"; only a comment\n\n", 0, "found no section"},
    {"name = x\n", 1, "before any section"},
    {"[machine]\ncolour = red\n", 2, "[machine] found the key 'colour', want name"},
    {"[x]\nspeeed = 3 mm/s\n", 2, "want acceleration, speed, step, moving-mass or load"},
    {"[engine]\n", 1, "found [engine], want machine, x, y, z, controller, family NAME, part or notes"},
    {"[x]\nspeed = 2 mm/s\n\n[x]\n", 4, "found [x] for the second time"},
    {"[family a]\ntimes=0\namplitudes=1\n[family  a]\n", 4, "found [family a] for the second time"},
    {"[x]\nspeed = 2 mm/s\nspeed = 2 mm/s\n", 3, "found speed for the second time"},
    {"[notes]\na = 1\nbb = 2\na = 3\n", 4, "found 'a' for the second time"},
    {"[x]\nspeed = 200\n", 2,
     "[x] speed: found '200', want a speed with its unit such as 200 mm/s, or unknown"},
    {"[x]\nspeed = 200 mm\n", 2, "found '200 mm', want a speed"},
    {"[x]\nspeed = fast\n", 2, "found 'fast'"},
    {"[x]\nspeed = -1 mm/s\n", 2, "found '-1 mm/s', want"},
    {"[x]\nspeed = 0 mm/s\n", 2, "found '0 mm/s', want"},
    {"[x]\nspeed =\n", 2, "[x] speed has no value"},
    {"[x]\nspeed = ; later\n", 2, "[x] speed has no value"},
    {"[x]\nmoving-mass = 1 kg\nload = 300 g\n", 3, "[x] load: found '300 g', want LOW..HIGH"},
    {"[x]\nmoving-mass = 1 kg\nload = -1..3 g\n", 3, "found '-1..3 g', want"},
    {"\n[x]\nload = 0..3 g\n", 2, "states a load, want the moving-mass"},
    {"[controller]\nshapers = zv zvx\n", 2,
     "shapers: found 'zvx', want a family that is built in or has its own"},
    {"[controller]\nshapers = zv none\n", 2, "shapers: found 'none'"},
    {"[controller]\nshapers = zv zvd zv\n", 2, "shapers: found zv twice"},
    {"[controller]\nshapers = aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa\n", 2, "shapers: found 'aaa"},
    {"[controller]\nnames = zv=A\nshapers = zvd\n", 2, "names: found a name for 'zv'"},
    {"[controller]\nshapers = zv\nnames = zv\n", 3, "names: found 'zv', want FAMILY=NAME"},
    {"[controller]\nshapers = zv\nnames = zv=\n", 3, "want FAMILY=NAME"},
    {"[controller]\nshapers = zv\nnames = zv=A zv=B\n", 3, "one name of at most 31 bytes"},
    {"[controller]\nfrequency = absolute\n", 2,
     "found 'absolute', want natural, damped or unknown such as natural"},
    {"[controller]\nfrequency-unit = kHz\n", 2, "want Hz, rad/s or s"},
    {"[controller]\ndamping-unit = deg\n", 2, "want ratio, percent or Q"},
    {"[controller]\naxis-delay = maybe\n", 2, "want no or yes"},
    {"[controller]\nimpulse-times = relative\n", 2, "want absolute or differences"},
    {"[controller]\none-setting-for = none family\n", 2, "want none, frequency, family or damping"},
    {"[controller]\none-setting-for = family family\n", 2, "want none, frequency, family or damping"},
    {"[controller]\none-setting-for = speed\n", 2, "want none, frequency, family or damping"},
    {"[controller]\nfrequency-step = 0.1\n", 2,
     "frequency-step: found '0.1', want a frequency with its unit"},
    {"[controller]\nfrequency-step = 1 Hz\nfrequency-unit = s\n", 2, "since frequency-unit is s"},
    {"[controller]\nfrequency-step = -1 Hz\n", 2, "want 0 or more"},
    {"[controller]\nfrequency-range = 150..10 Hz\n", 2, "frequency-range: found '150..10 Hz'"},
    {"[controller]\nfrequency-range = 0..10 Hz\n", 2, "found '0..10 Hz', want"},
    {"[controller]\ndamping = loose\n", 2,
     "damping: found 'loose', want free, unknown, or the damping ratio"},
    {"[controller]\ndamping = 0.4\n", 2, "damping: found '0.4'"},
    {"[controller]\ndamping = 0\ndamping-unit = Q\n", 2, "written in its damping-unit, Q"},
    {"[controller]\ntolerance = 0.3\n", 2, "tolerance: found '0.3', want more than 0 and at most 0.2"},
    {"[controller]\ntolerance = 0\n", 2, "tolerance: found '0', want more than 0"},
    {"[controller]\nimpulses = 2.5\n", 2, "impulses: found '2.5', want a whole number from 0 to 128"},
    {"[controller]\nimpulses = 1000\n", 2, "want a whole number"},
    {"[controller]\ntick = 50\n", 2, "tick: found '50', want a time with its unit"},
    {"[controller]\nsetting = \"at {frequncy}\"\n", 2,
     "found '{frequncy}' in the setting, want one of {axis}"},
    {"[controller]\nsetting = at {frequency\n", 2, "found '{frequency' in the setting"},
    {"[controller]\nsetting = at {axis{name}}\n", 2, "found '{axis' in the setting"},
    {"[controller]\nsetting = \"axis {axis} ; no end\n", 2, "found an opening \" and no closing one"},
    {"[controller]\nsetting = \"\"\n", 2, "setting: found 0 bytes, want 1 to 511"},
    {"[family]\n", 1, "found [family], want"},
    {"[family ]\n", 1, "found the family name '', want"},
    {"[family Twin]\n", 1, "found the family name 'Twin', want 1 to 31 of a-z"},
    {"[family zvd]\n", 1, "found [family zvd], want a name that is not built in"},
    {"[family none]\n", 1, "want a name that is not built in"},
    {"[family a]\ntimes = 0 1\n\n[part]\n", 1, "[family a] lacks amplitudes"},
    {"[family a]\namplitudes = 1\n", 1, "[family a] lacks times"},
    {"[family a]\ntimes = 0.5 1\n", 2, "times: found '0.5', want at most 8 increasing numbers from 0"},
    {"[family a]\ntimes = 0 1 1\n", 2, "times: found '1'"},
    {"[family a]\ntimes = 0 x\n", 2, "times: found 'x'"},
    {"[family a]\ntimes = 0 1 2 3 4 5 6 7 8\n", 2, "times: found '8'"},
    {"[family a]\ntimes = 0 1.0000000000000000000000000000000000000000000000000000000000000000000000e1\n", 2,
     "times: found '1.000000"}, /* 10, whose end must not be cut off */
    {"[family a]\namplitudes = 1.0000000000000000000000000000000000000000000000000000000000000000000000e1 | "
     "1\n",
     2, "amplitudes: found '1.000000"},
    {"[family a]\ntimes = 0 1e300\n", 2, "times: found '1e300'"},
    {"[family a]\ntimes = 0 1\namplitudes = 1\n", 3, "found 1, want one for each of the 2 times"},
    {"[family a]\namplitudes = 1\ntimes = 0 1\n", 3, "found 2, want one for each of the 1 amplitudes"},
    {"[family a]\namplitudes = 1 | | 1\n", 2, "amplitudes: found ' '"},
    {"[family a]\namplitudes = 1 | x\n", 2, "amplitudes: found ' x'"},
    {"[family a]\namplitudes = 1 1 1 1 1 1 1 1 1\n", 2, "at most 8 coefficients"},
    {"[family a]\namplitudes = 1|1|1|1|1|1|1|1|1\n", 2, "at most 8 polynomials"},
    {"[family a]\namplitudes = 1 | -1\n", 2, "sum is not above 0"},
    {"[part]\ncorner-speed = 8\n", 2, "corner-speed: found '8', want a speed"},
    {"[part]\ncorner-speed = -8 mm/s\n", 2, "want SI value at least 0"},
    {"[part]\nresidual-limit = unknown\n", 2, "residual-limit: found 'unknown', want a ratio"},
    {"[part]\nresidual-limit = 100 %\n", 2,
     "residual-limit: found '100 %', want more than 0 and at most 0.99"},
    {"[part]\nresidual-limit = 5%\nripple-limit = 5 um\n", 0, "both residual-limit and ripple-limit"},
    {"[x]\n  speed = 2 mm/s\n", 2, "found the indented line 'speed = 2 mm/s', want it to start in column 1"},
    {"[x]\n\tspeed = 2 mm/s\n", 2, "found the indented line"},
    {"[x]\nspeed\n", 2, "found 'speed', want key = value"},
    {"[x]\n= 2 mm/s\n", 2, "want key = value"},
    {"[x]\nspeed : 2 mm/s\n", 2, "found 'speed : 2 mm/s', want key = value"},
    {"[x]\nspeed:mm = 2 mm/s\n", 2, "want key = value"},
    {"[x\n", 1, "found '[x', want [section]"},
    {"[x] y\n", 1, "found '[x] y', want [section]"},
    {"[[x]]\n", 1, "want [section]"},
    {"[]\n", 1, "found [], want machine"},
    {"[x]\nspeed = 2 \x01 mm/s\n", 2, "found the byte 0x01 in column 11"},
    /* a Latin-1 letter; half of a character at the end; a surrogate; a C1 control (Unicode Standard, table 3-7) */
    {"[machine]\nname = B\xe4nk\n", 2, "found the byte 0xe4 in column 9, want plain text in UTF-8"},
    {"[machine]\nname = B\xc3\n", 2, "found the byte 0xc3 in column 9, want plain text in UTF-8"},
    {"[notes]\na = \xed\xa0\x80\n", 2, "found the byte 0xed in column 5, want plain text in UTF-8"},
    {"[notes]\na = \xc2\x85\n", 2, "found the byte 0xc2 in column 5, want plain text"},
    {"[x]\nspeed = 2 mm/s\rstep = 3 mm\n", 2, "found the byte 0x0d in column 15"},
};

START_TEST(each_refusal_names_file_line_found_and_wanted)
{
    quell_machine m;
    memset(&m, 0x5a, sizeof m);
    quell_machine before = m;
    quell_error err = {0};
    ck_assert_int_eq(read_string(&m, refusals[_i].text, &err), QUELL_E_DATA);
    ck_assert_str_eq(err.file, "m.ini");
    ck_assert_uint_eq(err.line, refusals[_i].line);
    ck_assert_msg(strstr(err.text, refusals[_i].says) != NULL, "found \"%s\", want \"%s\" in it", err.text,
                  refusals[_i].says);
    ck_assert_mem_eq(&m, &before, sizeof m);
    ck_assert_int_eq(read_string(&m, refusals[_i].text, NULL), QUELL_E_DATA);
}
END_TEST

START_TEST(a_nul_byte_is_refused)
{
    static const char text[] = "[x]\nspeed = 2 mm/s\0\n";
    quell_machine m;
    quell_error err = {0};
    ck_assert_int_eq(read_text(&m, text, sizeof text - 1, &err), QUELL_E_DATA);
    ck_assert_uint_eq(err.line, 2);
    ck_assert_str_eq(err.text, "found the byte 0x00 in column 15, want plain text");
}
END_TEST

/* "[notes]\nkey = aaaa..." whose second line is `length` bytes. */
static size_t long_line(char *text, size_t length, const char *ending)
{
    size_t used = (size_t)sprintf(text, "[notes]\nkey = ");
    for (size_t i = 6; i < length; i++)
        text[used++] = 'a';
    return used + (size_t)sprintf(text + used, "%s", ending);
}

START_TEST(long_lines_are_taken_up_to_4096_bytes_and_refused_beyond)
{
    static char text[20000];
    static const struct {
        size_t length;
        const char *ending;
        bool taken;
    } rows[] = {{300, "\n", true}, {4000, "\r\n", true}, {4096, "\n", false},   {4097, "\n", false},
                {4097, "", false}, {10240, "\n", false}, {10240, "\r\n", false}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        quell_machine m;
        quell_error err = {0};
        size_t size = long_line(text, rows[i].length, rows[i].ending);
        quell_status status = read_text(&m, text, size, &err);
        ck_assert_int_eq(status, rows[i].taken ? QUELL_OK : QUELL_E_DATA);
        if (rows[i].taken)
            ck_assert_uint_eq(strlen(m.notes),
                              rows[i].length - 6 + strlen("key: \n")); /* nothing is cut at 200 */
        else
            ck_assert_uint_eq(err.line, 2);
        /* 4096 bytes are a line, but more than the notes hold with their key; only what is longer is too long */
        if (!rows[i].taken)
            ck_assert_msg((strstr(err.text, "line is longer than 4096 bytes") != NULL) ==
                              (rows[i].length > 4096),
                          "%s", err.text);
    }
}
END_TEST

START_TEST(a_comment_of_4096_bytes_is_a_line)
{
    static char text[5000];
    memset(text, ';', 4096);
    memcpy(text + 4096, "\r\n[x]\n", 7);
    quell_machine m;
    must_read(&m, text);
    memset(text, ';', 4097);
    memcpy(text + 4097, "\n[x]\n", 6);
    quell_error err = {0};
    ck_assert_int_eq(read_string(&m, text, &err), QUELL_E_DATA);
    ck_assert_uint_eq(err.line, 1);
}
END_TEST

/* ---------------------------------------------------------------- the table itself */

static const char *section_head(machine_section section)
{
    static const char *const head[] = {[IN_MACHINE] = "[machine]\n",
                                       [IN_AXIS] = "[y]\n",
                                       [IN_CONTROLLER] = "[controller]\n",
                                       [IN_FAMILY] = "[family own]\n",
                                       [IN_PART] = "[part]\n"};
    return head[section];
}

/* What else the row's section must hold to be complete. */
static const char *companion(const machine_key *row)
{
    if (strcmp(row->key, "load") == 0)
        return "moving-mass = 1 kg\n";
    if (strcmp(row->key, "names") == 0)
        return "shapers = zv zvd ei\n";
    if (strcmp(row->key, "times") == 0)
        return "amplitudes = 1 | 0 2 | 0 0 1\n";
    return strcmp(row->key, "amplitudes") == 0 ? "times = 0 0.5 1\n" : "";
}

START_TEST(every_key_takes_its_own_example_once)
{
    size_t count;
    const machine_key *row = machine_keys(&count);
    ck_assert_uint_gt(count, 25);
    ck_assert_uint_le(count, 64); /* a bit each in seen_keys */
    for (size_t i = 0; i < count; i++) {
        char text[600];
        quell_machine m;
        quell_error err = {0};
        snprintf(text, sizeof text, "%s%s = %s\n%s", section_head(row[i].section), row[i].key, row[i].example,
                 companion(&row[i]));
        ck_assert_msg(read_string(&m, text, &err) == QUELL_OK, "%s: %s", row[i].key, err.text);
        snprintf(text, sizeof text, "%s%s = %s\n%s = %s\n", section_head(row[i].section), row[i].key,
                 row[i].example, row[i].key, row[i].example);
        ck_assert_int_eq(read_string(&m, text, &err), QUELL_E_DATA);
        ck_assert_uint_eq(err.line, 3);
    }
}
END_TEST

START_TEST(every_quantity_wants_its_unit)
{
    size_t count, tried = 0;
    const machine_key *row = machine_keys(&count);
    for (size_t i = 0; i < count; i++) {
        const char *unit = strrchr(row[i].example, ' ');
        if (row[i].dimension == QUELL_RATIO || unit == NULL)
            continue;
        char text[300];
        quell_machine m;
        quell_error err = {0};
        snprintf(text, sizeof text, "%s%s = %.*s\n", section_head(row[i].section), row[i].key,
                 (int)(unit - row[i].example), row[i].example);
        ck_assert_msg(read_string(&m, text, &err) == QUELL_E_DATA, "%s", text);
        ck_assert_uint_eq(err.line, 2);
        ck_assert(strstr(err.text, row[i].key) != NULL && strstr(err.text, "its unit") != NULL);
        tried++;
    }
    ck_assert_uint_ge(tried, 9);
}
END_TEST

/* ---------------------------------------------------------------- own families */

START_TEST(an_own_family_can_be_the_three_impulse_one)
{
    /* [1, 2K, K^2]/(1+K)^2 at 0, 1/2, 1 damped periods is ZVD: check-values.md 1.1, z = .05 and .1 (status M for the
       equation numbers; exact) */
    static const struct {
        double zeta, amplitude[3];
    } rows[] = {{0.05, {.290777877872, .496920721277, .212301400851}},
                {0.10, {.334414907891, .487742547524, .177842544584}}};
    quell_machine m;
    must_read(&m, whole);
    for (size_t r = 0; r < 2; r++) {
        quell_shaper shaper;
        quell_design_point at = {40, rows[r].zeta, 0.05};
        ck_assert_int_eq(quell_own_family_design(&shaper, &m.own[0], &at, NULL), QUELL_OK);
        ck_assert_uint_eq(shaper.count, 3);
        ck_assert_ptr_null(shaper.family);
        CHECK_NEAR(shaper.at.frequency_hz, 40, 1e-12);
        for (size_t i = 0; i < 3; i++) {
            CHECK_NEAR(shaper.amplitude[i], rows[r].amplitude[i], 1e-11);
            CHECK_NEAR(shaper.time_s[i], 0.5 * (double)i / (40 * sqrt(1 - rows[r].zeta * rows[r].zeta)),
                       1e-15);
        }
    }
    quell_shaper untouched = {.count = 77};
    quell_error err = {0};
    static const double bad[][2] = {{0, 0.1},      {-3, 0.1},   {HUGE_VAL, 0.1},
                                    {1e-320, 0.1}, {40, -0.01}, {40, 0.31}};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++) {
        quell_design_point at = {bad[i][0], bad[i][1], 0.05};
        ck_assert_int_eq(quell_own_family_design(&untouched, &m.own[0], &at, &err), QUELL_E_USAGE);
        ck_assert_uint_eq(untouched.count, 77);
    }
}
END_TEST

/* ---------------------------------------------------------------- hostile input, failing calls */

static quell_status broken_read(void *context, void *into, size_t size, size_t *got, quell_error *err)
{
    int *calls = context;
    if ((*calls)++ > 0)
        return quell_fail(err, QUELL_E_IO, "the disk went away");
    *got = size < 10 ? size : 10;
    memcpy(into, "[x]\nspeed ", *got);
    return QUELL_OK;
}

START_TEST(a_failing_read_is_passed_on)
{
    int calls = 0;
    quell_source source = {"m.ini", broken_read, &calls};
    quell_machine m;
    quell_error err = {0};
    ck_assert_int_eq(quell_machine_read(&m, &source, &err), QUELL_E_IO);
    ck_assert_str_eq(err.text, "the disk went away");
    ck_assert_str_eq(err.file, "m.ini");
}
END_TEST

/* Comments that fill a mebibyte are read, one byte more is refused: a pipe may never end. */
START_TEST(a_file_has_a_largest_size)
{
    enum { MOST = 1 << 20 };
    static const char end[] = "[x]\nspeed = 2 mm/s\n";
    size_t length = sizeof end - 1;
    char *text = malloc(MOST + 1);
    ck_assert_ptr_nonnull(text);
    for (size_t i = 0; i < MOST - length; i++)
        text[i] = i % 64 == 63 ? '\n' : ';';
    text[MOST - length - 1] = '\n';
    memcpy(text + MOST - length, end, length);
    quell_machine m;
    quell_error err = {0};
    ck_assert_msg(read_text(&m, text, MOST, &err) == QUELL_OK, "line %zu: %s", err.line, err.text);
    CHECK_NEAR(m.axis[0].speed_mps, 0.002, 1e-15);
    memmove(text + 1, text, MOST);
    text[0] = '\n';
    ck_assert_int_eq(read_text(&m, text, MOST + 1, &err), QUELL_E_DATA);
    ck_assert_str_eq(err.text, "the file is longer than 1048576 bytes, which is the most taken");
    free(text);
}
END_TEST

START_TEST(a_failing_allocation_is_an_error)
{
    quell_machine m = {.own_count = 7};
    quell_error err = {0};
    quell_memory_fail_at(1);
    quell_status status = read_string(&m, whole, &err);
    quell_memory_fail_at(0);
    ck_assert_int_eq(status, QUELL_E_MEMORY);
    ck_assert_uint_eq(m.own_count, 7);
}
END_TEST

/* Whatever is read must be usable: numbers in range or NaN, texts terminated, families that can be designed. */
static void check_sane(const quell_machine *m)
{
    for (size_t i = 0; i < QUELL_AXES_MAX; i++) {
        ck_assert(isnan(m->axis[i].acceleration_mps2) || m->axis[i].acceleration_mps2 > 0);
        ck_assert(m->axis[i].load_kg[0] >= 0 && m->axis[i].load_kg[1] >= m->axis[i].load_kg[0]);
    }
    ck_assert(isnan(m->controller.damping) || (m->controller.damping >= 0 && m->controller.damping <= 0.3));
    ck_assert(m->controller.frequency_step_hz >= 0 && m->controller.tick_s >= 0);
    ck_assert_ptr_nonnull(memchr(m->controller.setting, 0, sizeof m->controller.setting));
    ck_assert_ptr_nonnull(memchr(m->notes, 0, sizeof m->notes));
    for (size_t i = 0; i < m->own_count; i++) {
        quell_shaper shaper;
        quell_design_point at = {50, 0.1, 0.05};
        double sum = 0;
        ck_assert_int_eq(quell_own_family_design(&shaper, &m->own[i], &at, NULL), QUELL_OK);
        for (size_t j = 0; j < shaper.count; j++)
            sum += shaper.amplitude[j];
        CHECK_NEAR(sum, 1, 1e-9);
    }
}

/* Changes, drops, doubles or inserts bytes and whole lines. */
static size_t mutate(quell_random *random, char *text, size_t size, size_t room)
{
    static const char bytes[] = "\"\";;[]={}|\n\r\t ..0059-+eE%\\#:\xc2\xb5\xff";
    size_t edits = 1 + (size_t)(6 * quell_random_uniform(random));
    for (size_t e = 0; e < edits && size > 8; e++) {
        size_t at = (size_t)(quell_random_uniform(random) * (double)size);
        size_t span = 1 + (size_t)(quell_random_uniform(random) * 12);
        double kind = quell_random_uniform(random);
        if (at + span > size)
            span = size - at;
        if (kind < 0.4) {
            text[at] = bytes[(size_t)(quell_random_uniform(random) * (sizeof bytes - 1))];
        } else if (kind < 0.6) {
            memmove(text + at, text + at + span, size - at - span);
            size -= span;
        } else if (kind < 0.8 && size + span <= room) {
            memmove(text + at + span, text + at, size - at);
            size += span;
        } else {
            text[at] = (char)(256 * quell_random_uniform(random));
        }
    }
    return size;
}

START_TEST(mutated_files_are_read_or_refused_but_never_misread)
{
    quell_random *random = quell_random_create(20240611);
    size_t taken = 0, refused = 0;
    for (int trial = 0; trial < 4000; trial++) {
        char text[2 * sizeof whole];
        memcpy(text, whole, sizeof whole - 1);
        size_t size = mutate(random, text, sizeof whole - 1, sizeof text);
        quell_machine m;
        quell_error err = {0};
        quell_status status = read_text(&m, text, size, &err);
        if (status == QUELL_OK) {
            check_sane(&m);
            taken++;
        } else {
            ck_assert_int_eq(status, QUELL_E_DATA);
            ck_assert_str_ne(err.text, "");
            refused++;
        }
    }
    quell_random_destroy(random);
    ck_assert_uint_gt(taken, 100);
    ck_assert_uint_gt(refused, 1000);
}
END_TEST

Suite *suite_machine(void)
{
    Suite *suite = suite_create("machine");
    TCase *cases = tcase_create("machine");
    tcase_set_timeout(cases, 60);
    tcase_add_test(cases, every_field_is_read);
    tcase_add_test(cases, line_endings_byte_order_mark_and_comment_lines_are_taken);
    tcase_add_test(cases, unknown_is_taken_where_the_user_may_not_know);
    tcase_add_test(cases, damping_and_step_are_read_in_the_controller_s_units);
    tcase_add_loop_test(cases, each_refusal_names_file_line_found_and_wanted, 0,
                        sizeof refusals / sizeof refusals[0]);
    tcase_add_test(cases, a_nul_byte_is_refused);
    tcase_add_test(cases, long_lines_are_taken_up_to_4096_bytes_and_refused_beyond);
    tcase_add_test(cases, a_comment_of_4096_bytes_is_a_line);
    tcase_add_test(cases, every_key_takes_its_own_example_once);
    tcase_add_test(cases, every_quantity_wants_its_unit);
    tcase_add_test(cases, an_own_family_can_be_the_three_impulse_one);
    tcase_add_test(cases, a_failing_read_is_passed_on);
    tcase_add_test(cases, a_file_has_a_largest_size);
    tcase_add_test(cases, a_failing_allocation_is_an_error);
    tcase_add_test(cases, mutated_files_are_read_or_refused_but_never_misread);
    suite_add_tcase(suite, cases);
    return suite;
}
