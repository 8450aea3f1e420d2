/* Questions put to a Python script with scipy, which shares no code with quell. */
#include "python_help.h"

#include <check.h>
#include <stdlib.h>
#include <unistd.h>

bool test_python_begin(test_python *out, const char *script, const char *what)
{
    *out = (test_python){.program = getenv("PYTHON"), .script = script, .name = "/tmp/quell-test-XXXXXX"};
    if (out->program == NULL || out->program[0] == '\0' || access(script, R_OK) != 0) {
        fprintf(stderr, "skipped: %s (wants PYTHON with scipy, and the project's root as folder)\n", what);
        return false;
    }
    int descriptor = mkstemp(out->name);
    ck_assert_int_ge(descriptor, 0);
    out->questions = fdopen(descriptor, "w");
    ck_assert_ptr_nonnull(out->questions);
    return true;
}

void test_python_ask(test_python *python)
{
    char command[512];
    ck_assert_int_eq(fclose(python->questions), 0);
    /* python takes no part in the sanitizer's preloading */
    int length = snprintf(command, sizeof command, "LD_PRELOAD= '%s' %s <%s", python->program, python->script,
                          python->name);
    ck_assert_int_lt(length, (int)sizeof command);
    python->answers = popen(command, "r");
    ck_assert_ptr_nonnull(python->answers);
}

void test_python_end(test_python *python)
{
    ck_assert_int_eq(pclose(python->answers), 0);
    unlink(python->name);
}
