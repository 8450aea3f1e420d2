/* Questions put to a Python script with scipy, which shares no code with quell. */
#ifndef QUELL_TESTS_PYTHON_HELP_H
#define QUELL_TESTS_PYTHON_HELP_H

#include <stdbool.h>
#include <stdio.h>

typedef struct test_python {
    const char *program, *script;
    char name[32]; /* of the file of questions */
    FILE *questions, *answers;
} test_python;

/* Opens the questions. False, after a word on stderr about what is passed over, where PYTHON is not set or the script
   is not found from the folder the tests run in. */
bool test_python_begin(test_python *out, const char *script, const char *what);

/* Runs the script on what was asked; its answers can then be read. */
void test_python_ask(test_python *python);

/* Checks that the script ended well, and cleans up. */
void test_python_end(test_python *python);

#endif
