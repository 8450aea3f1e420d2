/* The lines before the rows, to know them again where a logger was started anew. */
#include "ingest/ingest_private.h"

enum { HASHES_MAX = 4096 };

/* Lines without a letter may come again for other reasons. */
static bool has_letter(ingest_span line)
{
    for (size_t i = 0; i < line.length; i++)
        if ((line.text[i] | 32) >= 'a' && (line.text[i] | 32) <= 'z')
            return true;
    return false;
}

/* FNV-1a (G. Fowler, L. C. Noll, P. Vo, 1991) of what is not blank around the line. */
static uint64_t hash_line(const char *text, size_t length)
{
    uint64_t hash = UINT64_C(14695981039346656037);
    while (length > 0 && ingest_is_blank(text[length - 1]))
        length--;
    for (size_t i = 0; i < length; i++)
        hash = (hash ^ (unsigned char)text[i]) * UINT64_C(1099511628211);
    return hash;
}

quell_status ingest_header_keep(ingest_layout *layout, const ingest_sample *sample, quell_error *err)
{
    size_t lines = layout->first_line < HASHES_MAX ? layout->first_line : HASHES_MAX;
    layout->header_hash = QUELL_NEW(layout->arena, uint64_t, lines + 1);
    if (layout->header_hash == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the header");
    for (size_t i = layout->first_line - lines; i < layout->first_line; i++)
        if (has_letter(sample->line[i]))
            layout->header_hash[layout->header_lines++] =
                hash_line(sample->line[i].text, sample->line[i].length);
    return QUELL_OK;
}

bool ingest_layout_is_header(const ingest_layout *layout, const char *text, size_t length)
{
    uint64_t hash = hash_line(text, length);
    for (size_t i = 0; i < layout->header_lines; i++)
        if (layout->header_hash[i] == hash)
            return true;
    return false;
}
