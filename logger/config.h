/* config.h - everything that can be set, by file and by command line.
 *
 * One table a section feeds reading, checking and the listing of --help-config; the manual page
 * agrees with them (tests/unit/test_config.c).
 */
#ifndef SEARUN_CONFIG_H
#define SEARUN_CONFIG_H

#include <stdio.h>

#include "decode.h"
#include "facts.h"
#include "run_write.h"
#include "status.h"

#define LABEL_MAX 15 /* bytes of the short name of an input: what a TAG block's s: holds */

/* Section [logger]. Limits and meaning: settings table in config.c. */
struct settings {
    char directory[1024];     /* where runs go */
    double ring_size;         /* MiB */
    double receive_buffer;    /* KiB asked of the system for each network input */
    double reopen_longest;    /* s, longest interval between attempts to reopen an input */
    double reserve;           /* MiB */
    bool keep_journal;        /* even when the run file is finished */
    double clock_tolerance;   /* s, difference from GNSS up to which the system clock is believed */
    double rpm_first_engine;  /* number that talkers give to engine 0 in RPM sentences */
    bool transducer_defaults; /* whether the built-in transducer names apply */
    char socket[1024];        /* "auto", "none", or the path of the control socket */
    bool unattended;          /* wait for an engine, record, wait again */
    double turning_rpm;       /* rpm, an engine turns when it is faster */
    double end_after;         /* s with all engines stopped after which a run ends */
    double before_start;      /* s of what was heard before that go into the run */
    double longest_run;       /* h, 0: any */
};

/* Zero-initialise, config_init, config_free. */
struct config {
    struct facts facts;
    struct settings settings;
    size_t input_count;
    struct run_input inputs[INPUTS_MAX];
    size_t transducer_count;
    struct transducer_row *transducers; /* rows of section [transducers], first match first */
    struct transducer_row *all_rows;    /* made by config_transducers */
};

/* Is told each problem of a file, "boat.ini:12: ...". */
struct problems {
    void (*tell)(void *self, const char *text);
    void *self;
    unsigned count;
};

/* Sets every default. */
void config_init(struct config *config);
void config_free(struct config *config);

/* Reads a file over what is set; goes on after a problem, so that all are told. STATUS_OK only if
 * there was none; else STATUS_BAD_USAGE, STATUS_NOT_FOUND, STATUS_IO or STATUS_MEMORY. */
enum status config_read(struct config *config, const char *path, struct problems *problems);

/* The same for text in memory; `name` stands for the file name in problems. */
enum status config_read_text(struct config *config, const char *name, const char *text,
                             size_t length, struct problems *problems);

/* One setting of the command line: "boat.name=Tern's Reach", "engine0.thermostat=71,82". Replaces
 * what is set. STATUS_BAD_USAGE says what is allowed. */
enum status config_set(struct config *config, const char *assignment, struct complaint *complaint);

/* One input of the command line: "udp:10110" or "plotter=udp:10110"; a name that is there is
 * replaced, and a name is made if there is none. */
enum status config_add_input(struct config *config, const char *text, struct complaint *complaint);

/* The map that decoders need: rows of the file first, then the defaults. Owned by config; valid
 * until the next call. STATUS_MEMORY. */
enum status config_transducers(struct config *config, struct transducer_map *out);

/* What is set, as assignments for config_set that make the same facts, settings and transducers
 * again (inputs are not among them): a NULL-terminated list for the caller to free with
 * config_list_free. NULL if there is no memory. */
char **config_list(const struct config *config);
void config_list_free(char **list);

/* Makes `to` (not initialised) a copy of its own. STATUS_MEMORY. */
enum status config_copy(struct config *to, const struct config *from);

/* Prints every section, setting, default and what is allowed. */
void config_describe(FILE *to);

#endif
