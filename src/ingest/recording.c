/* A recording from a source: the format is recognised, and its rows become evenly sampled acceleration. */
#include "ingest/ingest_private.h"

#include <string.h>

static quell_status read_from(quell_recording *out, ingest_bytes *bytes, const quell_source *source,
                              const quell_read_options *options, const ingest_settings *settings,
                              const quell_sink *sink, quell_arena *arena, quell_error *err)
{
    ingest_lines lines = {0};
    ingest_reader reader = {0};
    quell_status status = ingest_bytes_open(bytes, source, err);
    if (status == QUELL_OK)
        status = ingest_lines_open(&lines, bytes, err);
    if (status == QUELL_OK)
        status = ingest_format_open(&reader, &lines, options, arena, &out->findings, err);
    if (status == QUELL_OK)
        status = ingest_stream(out, &reader, settings, sink, arena, err);
    if (reader.state != NULL)
        reader.close(&reader);
    ingest_lines_close(&lines);
    ingest_bytes_close(bytes);
    return status;
}

quell_status quell_recording_stream(quell_recording *out, const quell_source *source,
                                    const quell_read_options *options, const quell_sink *sink,
                                    quell_arena *arena, quell_error *err)
{
    ingest_settings settings;
    quell_status status = ingest_settings_read(&settings, options, err);
    if (status != QUELL_OK)
        return status;
    ingest_bytes *bytes = quell_memory_get(sizeof *bytes);
    char *name = quell_arena_copy(arena, source->name, strlen(source->name));
    quell_recording *read = QUELL_NEW(arena, quell_recording, 1);
    if (bytes == NULL || name == NULL || read == NULL)
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for reading");
    else
        status = read_from(read, bytes, source, options, &settings, sink, arena, err);
    quell_memory_free(bytes);
    if (status != QUELL_OK) {
        /* a wrong option is not the file's fault */
        if (status != QUELL_E_USAGE)
            quell_error_set_file(err, source->name);
        return status;
    }
    read->file = name;
    *out = *read;
    return QUELL_OK;
}

quell_status quell_recording_read(quell_recording *out, const quell_source *source,
                                  const quell_read_options *options, quell_arena *arena, quell_error *err)
{
    ingest_keep keep = {0};
    const quell_sink sink = ingest_keep_sink(&keep);
    quell_recording read;
    quell_status status = quell_recording_stream(&read, source, options, &sink, arena, err);
    if (status == QUELL_OK) {
        status = ingest_keep_lay(&read, &keep, arena, err);
        if (status != QUELL_OK)
            quell_error_set_file(err, source->name);
    }
    ingest_keep_free(&keep);
    if (status == QUELL_OK)
        *out = read;
    return status;
}
