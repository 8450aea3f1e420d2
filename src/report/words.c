/* Wrapping of words at a width, counting UTF-8 characters. */
#include "quell/report.h"

#include <string.h>

/* Columns used after the last newline of text. */
static size_t last_line_width(const char *text)
{
    const char *newline = strrchr(text, '\n');
    const char *from = newline != NULL ? newline + 1 : text;
    return quell_text_width(from, strlen(from));
}

void quell_words_print(FILE *stream, const char *first_indent, const char *indent, size_t width,
                       const char *text)
{
    fputs(first_indent, stream);
    size_t at = last_line_width(first_indent);
    bool fresh = true;
    while (*text != '\0') {
        if (*text == '\n') {
            fprintf(stream, "\n%s", indent);
            at = last_line_width(indent);
            fresh = true;
            text++;
            continue;
        }
        size_t blanks = strspn(text, " ");
        size_t word = strcspn(text + blanks, " \n");
        size_t need = quell_text_width(text + blanks, word);
        if (!fresh && at + blanks + need > width) {
            fprintf(stream, "\n%s", indent);
            at = last_line_width(indent);
        } else {
            fprintf(stream, "%.*s", (int)blanks, text);
            at += blanks;
        }
        fwrite(text + blanks, 1, word, stream);
        at += need;
        fresh = false;
        text += blanks + word;
    }
    fputc('\n', stream);
}
