/* Bytes of a recording: as they come from the source, or unpacked when they begin as gzip does (RFC 1952). */
#include "ingest/ingest_private.h"

#include <assert.h>
#include <string.h>

/* zlib's memory comes from the project's own allocator, so that the tests can make it fail. */
static void *get(void *context, unsigned items, unsigned size)
{
    (void)context;
    return quell_memory_get((size_t)items * size);
}

static void give_back(void *context, void *block)
{
    (void)context;
    quell_memory_free(block);
}

static quell_status pull(ingest_bytes *bytes, char *into, size_t size, size_t *got, quell_error *err)
{
    quell_status status = bytes->source->read(bytes->source->context, into, size, got, err);
    if (status != QUELL_OK)
        return status;
    assert(*got <= size);
    bytes->source_ended = *got == 0;
    return QUELL_OK;
}

/* Appends to the block until it holds `want` bytes or the source ends. */
static quell_status fill_block(ingest_bytes *bytes, size_t want, quell_error *err)
{
    if (bytes->from > 0) {
        memmove(bytes->block, bytes->block + bytes->from, bytes->to - bytes->from);
        bytes->to -= bytes->from;
        bytes->from = 0;
    }
    while (bytes->to < want && !bytes->source_ended) {
        size_t got;
        quell_status status =
            pull(bytes, (char *)bytes->block + bytes->to, sizeof bytes->block - bytes->to, &got, err);
        if (status != QUELL_OK)
            return status;
        bytes->to += got;
    }
    return QUELL_OK;
}

static bool begins_as_gzip(const ingest_bytes *bytes)
{
    return bytes->to - bytes->from >= 2 && bytes->block[bytes->from] == 0x1f &&
           bytes->block[bytes->from + 1] == 0x8b;
}

quell_status ingest_bytes_open(ingest_bytes *bytes, const quell_source *source, quell_error *err)
{
    memset(bytes, 0, offsetof(ingest_bytes, block));
    bytes->source = source;
    quell_status status = fill_block(bytes, 2, err);
    if (status != QUELL_OK || !begins_as_gzip(bytes))
        return status;
    bytes->packed = true;
    bytes->unpack.zalloc = get;
    bytes->unpack.zfree = give_back;
    if (inflateInit2(&bytes->unpack, 16 + MAX_WBITS) != Z_OK) /* 16: gzip only */
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for unpacking");
    bytes->unpacking = true;
    return QUELL_OK;
}

void ingest_bytes_close(ingest_bytes *bytes)
{
    if (bytes->unpacking)
        inflateEnd(&bytes->unpack);
    bytes->unpacking = false;
}

static quell_status read_plain(ingest_bytes *bytes, char *into, size_t size, size_t *got, quell_error *err)
{
    size_t held = bytes->to - bytes->from;
    if (held == 0)
        return pull(bytes, into, size, got, err);
    *got = held < size ? held : size;
    memcpy(into, bytes->block + bytes->from, *got);
    bytes->from += *got;
    return QUELL_OK;
}

/* After the end of one gzip member: another may follow, or padding of zeros, or something else. */
static quell_status next_member(ingest_bytes *bytes, quell_error *err)
{
    quell_status status = fill_block(bytes, 2, err);
    if (status != QUELL_OK)
        return status;
    if (begins_as_gzip(bytes)) {
        inflateReset(&bytes->unpack);
        return QUELL_OK;
    }
    bytes->ended = true;
    for (size_t i = bytes->from; i < bytes->to; i++)
        bytes->trailing = bytes->trailing || bytes->block[i] != 0;
    return QUELL_OK;
}

static quell_status unpack_some(ingest_bytes *bytes, char *into, size_t size, size_t *got, quell_error *err)
{
    quell_status status = fill_block(bytes, 1, err);
    if (status != QUELL_OK)
        return status;
    bytes->unpack.next_in = bytes->block + bytes->from;
    bytes->unpack.avail_in = (unsigned)(bytes->to - bytes->from);
    bytes->unpack.next_out = (unsigned char *)into;
    bytes->unpack.avail_out = (unsigned)size;
    int outcome = inflate(&bytes->unpack, Z_NO_FLUSH);
    bytes->from = bytes->to - bytes->unpack.avail_in;
    *got = size - bytes->unpack.avail_out;
    if (outcome == Z_STREAM_END)
        return next_member(bytes, err);
    if (outcome == Z_MEM_ERROR)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for unpacking");
    if (outcome == Z_BUF_ERROR && bytes->from == bytes->to && bytes->source_ended && *got == 0) {
        bytes->cut_short = bytes->ended = true;
        return QUELL_OK;
    }
    if (outcome != Z_OK && outcome != Z_BUF_ERROR)
        return quell_fail(err, QUELL_E_DATA, "the gzip data are damaged: %s",
                          bytes->unpack.msg != NULL ? bytes->unpack.msg : "not gzip");
    return QUELL_OK;
}

quell_status ingest_bytes_unpacked(ingest_bytes *bytes, char *into, size_t size, size_t *got, quell_error *err)
{
    if (!bytes->packed)
        return read_plain(bytes, into, size, got, err);
    *got = 0;
    while (*got == 0 && !bytes->ended) {
        quell_status status = unpack_some(bytes, into, size, got, err);
        if (status != QUELL_OK)
            return status;
    }
    return QUELL_OK;
}
