/* base: status and error texts, memory, numbers, quantities. */
#include "suites.h"

#include "quell/base.h"

START_TEST(error_text_is_built_from_its_own_old_text)
{
    quell_error err = {0};
    quell_fail(&err, QUELL_E_DATA, "found '%s'", "q");
    quell_fail(&err, QUELL_E_DATA, "option --rate: %s", err.text);
    ck_assert_str_eq(err.text, "option --rate: found 'q'");
}
END_TEST

Suite *suite_base(void)
{
    Suite *suite = suite_create("base");
    TCase *cases = tcase_create("base");
    tcase_add_test(cases, error_text_is_built_from_its_own_old_text);
    suite_add_tcase(suite, cases);
    return suite;
}
