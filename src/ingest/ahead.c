/* Rows read ahead by a thread of their own, while those before them are placed and transformed. The batches are the same
   as without it, in the same order. */
#include "ingest/ingest_private.h"

#include <pthread.h>
#include <string.h>

enum { BATCHES = 4, OWN_ARENA = 1 << 20 };

/* One end fills batches, the other takes them; each batch belongs to one of them at any time. */
struct ingest_ahead {
    ingest_reader *reader;
    quell_findings findings; /* what the reader notices meanwhile: the caller's belong to its own thread */
    quell_arena *arena;
    quell_findings *findings_before;
    quell_arena *arena_before;
    ingest_batch batch[BATCHES];
    size_t filled, taken; /* batches so far */
    bool over;            /* the caller wants no more */
    bool ended;           /* the reader has none, or failed */
    quell_status status;
    quell_error err;
    pthread_t thread;
    bool running;
    pthread_mutex_t mutex;
    pthread_cond_t changed;
};

static void *read_ahead(void *context)
{
    ingest_ahead *ahead = context;
    for (bool more = true; more;) {
        pthread_mutex_lock(&ahead->mutex);
        while (ahead->filled - ahead->taken == BATCHES && !ahead->over)
            pthread_cond_wait(&ahead->changed, &ahead->mutex);
        bool over = ahead->over;
        pthread_mutex_unlock(&ahead->mutex);
        if (over)
            return NULL;
        ingest_batch *batch = &ahead->batch[ahead->filled % BATCHES];
        quell_status status = ahead->reader->next(ahead->reader, batch, &ahead->err);
        more = status == QUELL_OK && batch->rows > 0;
        pthread_mutex_lock(&ahead->mutex);
        ahead->status = status;
        ahead->filled += more ? 1 : 0;
        ahead->ended = !more;
        pthread_cond_signal(&ahead->changed);
        pthread_mutex_unlock(&ahead->mutex);
    }
    return NULL;
}

ingest_ahead *ingest_ahead_start(ingest_reader *reader)
{
    ingest_ahead *ahead = quell_memory_get(sizeof *ahead);
    if (ahead == NULL)
        return NULL;
    memset(ahead, 0, sizeof *ahead);
    ahead->reader = reader;
    ahead->arena = quell_arena_create(OWN_ARENA);
    if (ahead->arena == NULL) {
        quell_memory_free(ahead);
        return NULL;
    }
    ahead->findings_before = reader->findings;
    ahead->arena_before = reader->arena;
    reader->findings = &ahead->findings;
    reader->arena = ahead->arena;
    pthread_mutex_init(&ahead->mutex, NULL);
    pthread_cond_init(&ahead->changed, NULL);
    ahead->running = pthread_create(&ahead->thread, NULL, read_ahead, ahead) == 0;
    return ahead; /* not running: ingest_ahead_next reads by itself */
}

quell_status ingest_ahead_next(ingest_ahead *ahead, const ingest_batch **out, quell_error *err)
{
    if (!ahead->running) {
        *out = &ahead->batch[0];
        return ahead->reader->next(ahead->reader, &ahead->batch[0], err);
    }
    pthread_mutex_lock(&ahead->mutex);
    while (ahead->filled == ahead->taken && !ahead->ended)
        pthread_cond_wait(&ahead->changed, &ahead->mutex);
    bool none = ahead->filled == ahead->taken;
    quell_status status = none ? ahead->status : QUELL_OK;
    pthread_mutex_unlock(&ahead->mutex);
    *out = &ahead->batch[ahead->taken % BATCHES];
    if (none) {
        ahead->batch[ahead->taken % BATCHES].rows = 0;
        if (err != NULL && status != QUELL_OK)
            *err = ahead->err;
    }
    return status;
}

void ingest_ahead_release(ingest_ahead *ahead)
{
    pthread_mutex_lock(&ahead->mutex);
    if (ahead->taken < ahead->filled)
        ahead->taken++;
    pthread_cond_signal(&ahead->changed);
    pthread_mutex_unlock(&ahead->mutex);
}

static void stop(ingest_ahead *ahead)
{
    pthread_mutex_lock(&ahead->mutex);
    ahead->over = true;
    pthread_cond_signal(&ahead->changed);
    pthread_mutex_unlock(&ahead->mutex);
    if (ahead->running)
        pthread_join(ahead->thread, NULL);
    ahead->running = false;
}

quell_status ingest_ahead_end(ingest_ahead *ahead, quell_error *err)
{
    if (ahead == NULL)
        return QUELL_OK;
    stop(ahead);
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < ahead->findings.count && status == QUELL_OK; i++) {
        const quell_finding *note = &ahead->findings.item[i];
        const char *remedy = quell_arena_copy(ahead->arena_before, note->remedy, strlen(note->remedy));
        if (remedy == NULL) {
            status = QUELL_E_MEMORY;
            break;
        }
        status = quell_findings_add(ahead->findings_before, ahead->arena_before, note->kind, note->severity,
                                    note->value, note->limit, remedy, "%s", note->text);
    }
    ahead->reader->findings = ahead->findings_before;
    ahead->reader->arena = ahead->arena_before;
    pthread_mutex_destroy(&ahead->mutex);
    pthread_cond_destroy(&ahead->changed);
    quell_arena_destroy(ahead->arena);
    quell_memory_free(ahead);
    return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for findings");
}
