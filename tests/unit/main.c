/* Runs every suite of suites.h. CK_RUN_SUITE=name runs one. */
#include "suites.h"

#include <gsl/gsl_errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>

const char *test_recordings_folder(void)
{
    const char *folder = getenv("QUELL_RECORDINGS");
    if (folder == NULL)
        folder = "../shared/recordings";
    struct stat info;
    if (stat(folder, &info) != 0) {
        fprintf(stderr, "skipped: no folder %s (real recordings, kept outside the project)\n", folder);
        return NULL;
    }
    return folder;
}

int main(void)
{
    gsl_set_error_handler_off();
    Suite *(*const suite[])(void) = {
#define ROW(name) suite_##name,
        SUITES(ROW)
#undef ROW
    };
    SRunner *runner = srunner_create(NULL);
    for (size_t i = 0; i < sizeof suite / sizeof suite[0]; i++)
        srunner_add_suite(runner, suite[i]());
    srunner_run_all(runner, CK_NORMAL);
    int failed = srunner_ntests_failed(runner);
    srunner_free(runner);
    return failed == 0 ? EXIT_SUCCESS : EXIT_FAILURE;
}
