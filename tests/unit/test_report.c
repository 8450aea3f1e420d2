/* report: files that are whole or absent, tables, wrapped words, JSON without dropped keys, plots safe from their texts. */
#include "suites.h"

#include "quell/report.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static char folder[64];

static void enter_folder(void)
{
    strcpy(folder, "/tmp/report-test-XXXXXX");
    ck_assert_ptr_nonnull(mkdtemp(folder));
}

static void leave_folder(void)
{
    char command[96];
    snprintf(command, sizeof command, "rm -rf '%s'", folder);
    ck_assert_int_eq(system(command), 0);
}

static const char *in_folder(const char *name)
{
    static char path[4][256];
    static int next;
    next = (next + 1) % 4;
    snprintf(path[next], sizeof path[next], "%s/%s", folder, name);
    return path[next];
}

static bool exists(const char *path)
{
    struct stat info;
    return stat(path, &info) == 0;
}

static size_t entries(void)
{
    char command[128];
    snprintf(command, sizeof command, "ls -A '%s' | wc -l", folder);
    FILE *pipe = popen(command, "r");
    ck_assert_ptr_nonnull(pipe);
    int count = -1;
    ck_assert_int_eq(fscanf(pipe, "%d", &count), 1);
    pclose(pipe);
    return (size_t)count;
}

/* What is printed to a stream, as text; static, valid until the next call. */
static char printed[8192];
static FILE *capture(void)
{
    return fmemopen(printed, sizeof printed, "w");
}

START_TEST(output_replaces_the_file_only_when_complete)
{
    quell_output out;
    quell_error err = {0};
    const char *path = in_folder("result.csv");
    ck_assert_int_eq(quell_output_open(&out, path, &err), QUELL_OK);
    fputs("old", out.stream);
    ck_assert_int_eq(quell_output_commit(&out, &err), QUELL_OK);
    ck_assert_int_eq(quell_output_open(&out, path, &err), QUELL_OK);
    fputs("half-writ", out.stream);
    quell_output_abandon(&out);
    char text[16] = "";
    FILE *back = fopen(path, "r");
    ck_assert_ptr_nonnull(fgets(text, sizeof text, back));
    fclose(back);
    ck_assert_str_eq(text, "old");
    ck_assert_uint_eq(entries(), 1);
}
END_TEST

START_TEST(output_refusals_name_the_path)
{
    quell_output out;
    quell_error err = {0};
    ck_assert_int_eq(quell_output_open(&out, in_folder("none/result.csv"), &err), QUELL_E_IO);
    ck_assert_ptr_nonnull(strstr(err.file, "none/result.csv"));
    if (exists("/dev/full")) { /* a disk that is always full */
        err = (quell_error){0};
        ck_assert_int_eq(quell_output_open(&out, "/dev/full", &err), QUELL_OK);
        fputs("x", out.stream);
        ck_assert_int_eq(quell_output_commit(&out, &err), QUELL_E_IO);
        ck_assert_ptr_nonnull(strstr(err.text, "No space"));
    }
    quell_file file;
    quell_source source;
    err = (quell_error){0};
    ck_assert_int_eq(quell_file_open(&file, folder, &source, &err), QUELL_E_IO);
    ck_assert_str_eq(err.text, "is a folder, want a file");
    err = (quell_error){0};
    ck_assert_int_eq(quell_file_open(&file, in_folder("missing"), &source, &err), QUELL_E_IO);
    ck_assert_ptr_nonnull(strstr(err.text, "No such file"));
}
END_TEST

START_TEST(table_counts_characters_not_bytes)
{
    static const quell_column columns[] = {{"name", "", true}, {"ζ", "%", false}};
    quell_arena *arena = quell_arena_create(1 << 20);
    quell_table *table = quell_table_create(arena, columns, 2);
    quell_table_cell(table, "µ-axis");
    quell_table_number(table, 4.6, 1);
    quell_table_cell(table, "b");
    quell_table_number(table, NAN, 1);
    FILE *stream = capture();
    quell_table_print(table, stream, 1);
    fclose(stream);
    ck_assert_str_eq(printed, " name      ζ\n"
                              "         (%)\n"
                              " ------  ---\n"
                              " µ-axis  4.6\n"
                              " b         -\n");
    quell_arena_destroy(arena);
}
END_TEST

/* Worked by hand: two significant digits of the wider half; uneven sides are both written. */
START_TEST(estimates_show_what_their_interval_leaves_them)
{
    static const struct {
        double value, ci95[2];
        const char *shown, *interval;
    } rows[] = {
        {47.2931, {47.2461, 47.3401}, "47.293", "± 0.047"},
        {139.312, {138.16, 140.46}, "139.3", "± 1.2"},
        {0.04583, {0.0441, 0.0476}, "0.0458", "± 0.0018"},
        {0.04583, {0.0312, 0.0673}, "0.046", "0.031..0.067"},
        {-0.2104, {-0.2501, -0.1703}, "-0.210", "± 0.040"},
        {-0.2104, {-0.30, -0.15}, "-0.210", "-0.300..-0.150"},
        {0.5, {0.4004, 0.5996}, "0.50", "± 0.10"},
        {210, {130, 340}, "210", "130..340"},
        {47.2931, {NAN, NAN}, "47.29", ""},
        {47.2931, {47.2931, 47.2931}, "47.29", ""},
        {NAN, {1, 2}, "-", ""},
    };
    static const quell_column columns[] = {{"a", "", true}, {"b", "", true}};
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char want[96];
        quell_arena *arena = quell_arena_create(1 << 20);
        quell_table *table = quell_table_create(arena, columns, 2);
        quell_table_value(table, rows[i].value, rows[i].ci95, 2);
        quell_table_interval(table, rows[i].value, rows[i].ci95, 2);
        FILE *stream = capture();
        quell_table_print(table, stream, 0);
        fclose(stream);
        snprintf(want, sizeof want, "%s%s%s\n", rows[i].shown, rows[i].interval[0] != '\0' ? "  " : "", rows[i].interval);
        const char *last = printed;
        while (strchr(last, '\n') != NULL && strchr(last, '\n')[1] != '\0')
            last = strchr(last, '\n') + 1;
        ck_assert_msg(strcmp(last, want) == 0, "row %zu: '%s', want '%s'", i, last, want);
        quell_arena_destroy(arena);
    }
}
END_TEST

START_TEST(words_wrap_at_the_width)
{
    FILE *stream = capture();
    quell_words_print(stream, "- ", "  ", 12, "ééé ééé ééé four\nnew");
    fclose(stream);
    ck_assert_str_eq(printed, "- ééé ééé\n  ééé four\n  new\n");
}
END_TEST

START_TEST(json_keeps_every_key)
{
    quell_json json = quell_json_begin("quell.test/1");
    quell_json_number(&json, json.root, "good", 1.5, "x");
    quell_json_number(&json, json.root, "bad", NAN, "not known");
    quell_json_number(&json, json.root, "huge", INFINITY, "no limit");
    quell_json_text(&json, json.root, "file", "bad\xff name");
    quell_json_numbers(&json, json.root, "list", (const double[]){1, NAN, 3}, 3);
    json_t *item = quell_json_item(&json, quell_json_array(&json, json.root, "items"));
    quell_json_bool(&json, item, "yes", true);
    quell_json_integer(&json, item, "n", 7);
    quell_error err = {0};
    FILE *stream = capture();
    ck_assert_int_eq(quell_json_print(&json, stream, &err), QUELL_OK);
    fclose(stream);
    json_t *back = json_loads(printed, 0, NULL);
    ck_assert_ptr_nonnull(back);
    ck_assert_double_eq(json_number_value(json_object_get(back, "good")), 1.5);
    ck_assert(json_is_null(json_object_get(back, "bad")) && json_is_null(json_object_get(back, "huge")));
    ck_assert_str_eq(json_string_value(json_object_get(back, "bad_why")), "not known");
    ck_assert_str_eq(json_string_value(json_object_get(back, "file")), "bad? name");
    ck_assert(json_is_null(json_array_get(json_object_get(back, "list"), 1)));
    ck_assert_int_eq(json_integer_value(json_object_get(json_array_get(json_object_get(back, "items"), 0), "n")), 7);
    json_decref(back);
}
END_TEST

START_TEST(json_reports_a_set_that_failed)
{
    quell_json json = quell_json_begin("quell.test/1");
    quell_json_number(&json, NULL, "lost", 1, "x"); /* no object to put it in */
    quell_error err = {0};
    FILE *stream = capture();
    ck_assert_int_eq(quell_json_print(&json, stream, &err), QUELL_E_MEMORY);
    fclose(stream);
}
END_TEST

static bool have_gnuplot(void)
{
    if (system("gnuplot --version >/dev/null 2>&1") == 0)
        return true;
    fprintf(stderr, "skipped: gnuplot is not installed\n");
    return false;
}

static quell_plot *small_plot(const char *text)
{
    static const double x[] = {1, 2, 5, 10}, y[] = {0, 3, NAN, -2}, low[] = {-1, 2, NAN, -3};
    quell_plot *plot = quell_plot_create(text);
    quell_plot_panel(plot, text, text, text);
    quell_plot_x_range(plot, 1, 10, true);
    quell_plot_stretch(plot, 2, 3, text);
    quell_plot_level(plot, 1, text);
    quell_plot_curve(plot, QUELL_MARK_BAND, QUELL_INK_MAIN, 1, x, low, y, 4, "", NAN);
    quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_SECOND, 1, x, y, NULL, 4, text, NAN);
    quell_plot_note(plot, 2, 3, text, true);
    return plot;
}

/* gnuplot would run each of these if they reached it as anything but inert text. */
START_TEST(hostile_plot_texts_run_nothing)
{
    if (!have_gnuplot())
        return;
    static const char *const hostile[] = {
        "`touch pwned`", "'; system 'touch pwned'; '", "\n!touch pwned\n", "< touch pwned", "\"; !touch pwned #",
        "$(touch pwned)", "@macro", "'' ` \" \\", "{/Symbol a}^b_c", "\x1b[31m\x07\xff\xc0\x80", "",
    };
    char command[128];
    ck_assert_int_eq(chdir(folder), 0);
    for (size_t i = 0; i < sizeof hostile / sizeof hostile[0]; i++) {
        quell_error err = {0};
        quell_plot *plot = small_plot(hostile[i]);
        quell_status status = quell_plot_draw(plot, in_folder("p.svg"), NULL, &err);
        ck_assert_msg(status == QUELL_OK, "text %zu: %s", i, err.text);
        quell_plot_destroy(plot);
    }
    snprintf(command, sizeof command, "find '%s' /tmp/plot-* -name pwned 2>/dev/null | grep -c .", folder);
    ck_assert_int_ne(system(command), 0);
}
END_TEST

START_TEST(hostile_plot_file_names_stay_names)
{
    if (!have_gnuplot())
        return;
    static const char *const names[] = {"a'b.png", "`touch pwned`.svg", "a b;touch pwned.pdf", "-p.png"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        quell_error err = {0};
        quell_plot *plot = small_plot("plain");
        ck_assert_msg(quell_plot_draw(plot, in_folder(names[i]), in_folder("keep"), &err) == QUELL_OK, "%s", err.text);
        ck_assert(exists(in_folder(names[i])));
        quell_plot_destroy(plot);
    }
    ck_assert(exists(in_folder("keep/a'b.plot/plot.gnuplot")) && exists(in_folder("keep/a'b.plot/data.txt")));
    ck_assert(!exists(in_folder("pwned")) && !exists("pwned"));
    ck_assert_uint_eq(entries(), 5); /* four pictures, one folder, nothing half-written */
}
END_TEST

/* A logarithm has no place for 0: ticks from 0 on would never end (the test's time limit would). */
START_TEST(impossible_ranges_are_left_to_the_data)
{
    static const double range[][2] = {{0, 100}, {-5, 100}, {(double)NAN, 100}, {1, HUGE_VAL}};
    static const double x[] = {2, 20}, y[] = {3, 4};
    for (size_t i = 0; i < sizeof range / sizeof range[0]; i++) {
        quell_error err = {0};
        quell_plot *plot = quell_plot_create("plain");
        quell_plot_panel(plot, "p", "x", "y");
        quell_plot_x_range(plot, range[i][0], range[i][1], true);
        quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_MAIN, 1, x, y, NULL, 2, "", NAN);
        quell_status status = quell_plot_draw(plot, in_folder("p.svg"), in_folder("keep"), &err);
        ck_assert_msg(status == QUELL_OK || !have_gnuplot(), "range %zu: %s", i, err.text);
        FILE *script = fopen(in_folder("keep/p.plot/plot.gnuplot"), "r");
        char line[256] = "";
        while (fgets(line, sizeof line, script) != NULL && strncmp(line, "set xrange", 10) != 0)
            continue;
        fclose(script);
        ck_assert_str_eq(line, "set xrange [2:20]\n");
        quell_plot_destroy(plot);
    }
}
END_TEST

START_TEST(plot_refusals)
{
    quell_error err = {0};
    quell_plot *plot = small_plot("plain");
    ck_assert_int_eq(quell_plot_draw(plot, in_folder("p.bmp"), NULL, &err), QUELL_E_USAGE);
    ck_assert_ptr_nonnull(strstr(err.text, "want a name ending in .png, .svg or .pdf"));
    /* gnuplot missing: plainly said, script and data kept, no picture left */
    setenv("PATH", "/nonexistent", 1);
    err = (quell_error){0};
    ck_assert_int_eq(quell_plot_draw(plot, in_folder("p.png"), in_folder("keep"), &err), QUELL_E_IO);
    setenv("PATH", "/usr/local/bin:/usr/bin:/bin", 1);
    ck_assert_ptr_nonnull(strstr(err.text, "gnuplot, which is not installed"));
    ck_assert_ptr_nonnull(strstr(err.text, "are kept in"));
    ck_assert(exists(in_folder("keep/p.plot/data.txt")) && !exists(in_folder("p.png")));
    err = (quell_error){0};
    if (have_gnuplot())
        ck_assert_int_eq(quell_plot_draw(plot, in_folder("none/p.png"), NULL, &err), QUELL_E_IO);
    quell_plot_destroy(plot);
}
END_TEST

START_TEST(plot_building_survives_failing_memory)
{
    for (size_t n = 1; n < 12; n++) {
        quell_memory_fail_at(n);
        quell_plot *plot = quell_plot_create("plain");
        if (plot != NULL) {
            static const double x[] = {1, 2}, y[] = {3, 4};
            quell_plot_panel(plot, "p", "x", "y");
            quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_MAIN, 1, x, y, NULL, 2, "", NAN);
            quell_error err = {0};
            if (n <= 3)
                ck_assert_int_eq(quell_plot_draw(plot, in_folder("p.svg"), NULL, &err), QUELL_E_MEMORY);
        }
        quell_memory_fail_at(0);
        quell_plot_destroy(plot);
    }
}
END_TEST

Suite *suite_report(void)
{
    Suite *suite = suite_create("report");
    TCase *cases = tcase_create("report");
    tcase_add_checked_fixture(cases, enter_folder, leave_folder);
    tcase_set_timeout(cases, 120);
    tcase_add_test(cases, output_replaces_the_file_only_when_complete);
    tcase_add_test(cases, output_refusals_name_the_path);
    tcase_add_test(cases, table_counts_characters_not_bytes);
    tcase_add_test(cases, estimates_show_what_their_interval_leaves_them);
    tcase_add_test(cases, words_wrap_at_the_width);
    tcase_add_test(cases, json_keeps_every_key);
    tcase_add_test(cases, json_reports_a_set_that_failed);
    tcase_add_test(cases, hostile_plot_texts_run_nothing);
    tcase_add_test(cases, hostile_plot_file_names_stay_names);
    tcase_add_test(cases, impossible_ranges_are_left_to_the_data);
    tcase_add_test(cases, plot_refusals);
    tcase_add_test(cases, plot_building_survives_failing_memory);
    suite_add_tcase(suite, cases);
    return suite;
}
