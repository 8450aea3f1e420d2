/* Reading a machine file: the line feeder, the table of keys, and what is checked at the end. */
#ifndef QUELL_CHOOSE_MACHINE_PRIVATE_H
#define QUELL_CHOOSE_MACHINE_PRIVATE_H

#include "quell/choose.h"

enum {
    MACHINE_SIZE_MAX = 1 << 20, /* bytes of the file */
    MACHINE_LINE_MAX = 4096,    /* bytes of a line, its ending not counted */
    MACHINE_NAME_MAX = 44,      /* bytes of a section's or key's name: libinih cuts names at 50 */
    MACHINE_SECTIONS_MAX = 6 + QUELL_OWN_FAMILIES_MAX
};

/* Values that can only be understood when the whole file has been read. */
enum machine_late { LATE_SHAPERS, LATE_NAMES, LATE_DAMPING, LATE_FREQUENCY_STEP, LATE_COUNT };

typedef struct machine_late_value {
    size_t line; /* 0: not given */
    char text[MACHINE_LINE_MAX + 1];
} machine_late_value;

/* The state of one reading. */
typedef struct machine_reader {
    const quell_source *source;
    unsigned char chunk[4096];
    size_t chunk_at, chunk_size, size_read;
    bool at_end;

    size_t line;                     /* number of the line held, 1-based */
    char text[MACHINE_LINE_MAX + 2]; /* the line held; room for the CR of its ending */
    char *value;                     /* of a key line: within text, comment and blanks taken off */

    int kind; /* of the section held; -1 before the first */
    size_t section_line;
    char section[MACHINE_NAME_MAX + 1];
    size_t sections;
    char seen_section[MACHINE_SECTIONS_MAX][MACHINE_NAME_MAX + 1];
    uint64_t seen_keys; /* a bit for each row of the table, within the section held */
    void *base;         /* what the offsets of the section's rows are counted from */

    quell_machine machine;
    machine_late_value late[LATE_COUNT];
    quell_error err;
    quell_status status; /* of the first failure; the feeder ends the file there */
} machine_reader;

typedef enum machine_section {
    IN_MACHINE,
    IN_AXIS,
    IN_CONTROLLER,
    IN_FAMILY,
    IN_PART,
    IN_NOTES
} machine_section;

/* A row of the table: one key of one kind of section, how its value is read, and what is wanted. */
typedef struct machine_key {
    machine_section section;
    const char *key,
        *example; /* an example is accepted as it stands; sections and keys in the order of a new file */
    quell_status (*store)(machine_reader *reader, const struct machine_key *row, const char *value);
    size_t offset, size; /* of the field, in what the section describes */
    quell_dimension dimension;
    double low, high; /* SI; low itself is allowed only if closed */
    bool closed, unknown_allowed;
    const char *const *words; /* of a choice, ended by NULL */
    enum machine_late late;
} machine_key;

/* The table. */
const machine_key *machine_keys(size_t *count);

/* The kind of a section by its name ("x", "family twin"), -1 if unknown; *id is what follows "family ". */
int machine_section_find(const char *name, const char **id);

/* The first failure of a reading: "found ..., want ...", at a line. */
quell_status machine_refuse(machine_reader *reader, size_t line, const char *format, ...) QUELL_PRINTF(3, 4);

/* fgets-like: the next line in a form that libinih cannot misread ("key = @", the value held aside); NULL at the
   end and after a failure. */
char *machine_feed(char *out, int size, void *reader);

/* Starts a section: an unknown or repeated one is refused, and so is an incomplete one that ends here. */
quell_status machine_start_section(machine_reader *reader, const char *name);
quell_status machine_end_section(machine_reader *reader);

/* Stores the value held under a key of the section held. */
quell_status machine_store(machine_reader *reader, const char *key);

/* Reads and checks what needed the whole file. */
quell_status machine_finish(machine_reader *reader);

/* Stores for own families. */
quell_status machine_store_times(machine_reader *reader, const machine_key *row, const char *value);
quell_status machine_store_amplitudes(machine_reader *reader, const machine_key *row, const char *value);

/* The next word of a list parted by blanks, which quotes hold together (and are taken off): copied to out, its
   length returned, 0 at the end. A length >= size says that the word did not fit. */
size_t machine_next_word(const char **at, char *out, size_t size);

/* Checks a template: every placeholder known, every brace closed. */
quell_status setting_check(const char *text, quell_error *err);

#endif
