/* service_log.h - the service history of a boat: a CSV file kept beside the runs, for spreadsheet
 * and hand. One line a piece of work:
 *
 *     date,engine hours,engine,what was done,by,notes
 *     2026-05-14,1240,port,heat exchanger acid-cleaned,Skerrow yard,"scale in half the tubes"
 *
 * Layout of the file: csv.h, at most 1 MiB. The first line names the columns, in any order; others
 * than these are left alone. Dates: service_date.h; where day and month might be taken for each
 * other, the other lines of the file settle it, or nothing does. The engine is a number, the
 * engine's label, or "all" (also if empty). A column "boat" tells the boats of a folder apart.
 * What was done: service_kinds.def. A line that cannot be meant is left out and told. An empty
 * file is a log without lines.
 */
#ifndef SEARUN_SERVICE_LOG_H
#define SEARUN_SERVICE_LOG_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "service_date.h"
#include "text.h"

#define SERVICE_LOG_NAME "service-log.csv" /* in the folder of the runs */

enum service_kind {
#define SERVICE(id, key, title, effect, words) SERVICE_##id,
#include "service_kinds.def"
#undef SERVICE
    SERVICE_COUNT
};

enum service_effect {
    SERVICE_EFFECT_NONE,
    SERVICE_EFFECT_COOLING, /* may change how much cooler the engine runs */
    SERVICE_EFFECT_READING  /* changes what is read of the same coolant */
};

const char *service_key(enum service_kind kind);   /* "exchanger-acid-cleaned" */
const char *service_title(enum service_kind kind); /* "heat exchanger acid-cleaned" */
enum service_effect service_effect(enum service_kind kind);
/* The kind by key, title or another word for it, whatever the case and with blanks for '-' and '_';
 * SERVICE_COUNT if it is none. */
enum service_kind service_find(const char *words);

struct service_event {
    unsigned line;              /* of the file, from 1 */
    int64_t date;               /* unix time, s, UTC; midnight before if only the day is known */
    bool day_only;              /* no time of day was given */
    enum date_order date_order; /* of the file, for dates that do not show it */
    bool date_by_order;         /* its date was read by that alone */
    double hours;               /* of the engine; NaN: not recorded */
    int engine;                 /* number; -1: all engines, or one by its label */
    bool engine_said;           /* false: nothing is written, which is taken for all of them */
    char boat[100];             /* "" if the log is of one boat only */
    char label[64];             /* label of the engine, "" if it is a number or all */
    enum service_kind kind;
    char *by, *notes; /* owned, cleaned, "" if not recorded */
};

#define SERVICE_FAULTS 8 /* lines left out of which the words are kept */

struct service_fault {
    unsigned line;
    char text[360]; /* a warning has room for it */
};

/* In the order of their dates; on the same date as they stand in the file. Zero-initialise. */
struct service_log {
    size_t count;
    struct service_event *events;
    bool foreign;       /* the file is not in UTF-8: read as what spreadsheets save otherwise */
    char ignored[200];  /* titles of columns that are not ours, "" if there are none */
    size_t fault_count; /* lines left out, for they cannot be meant */
    struct service_fault faults[SERVICE_FAULTS]; /* the first of them */
    enum date_order date_order; /* by which dates were read that do not show it ... */
    size_t by_order;            /* ... so many */
    unsigned by_order_line;     /* the first of them */
};

/* Reads a log. Lines that cannot be meant go to its faults. If no line can, the complaint names the
 * first, says what is allowed, and counts the others. STATUS_NOT_FOUND (no such file), STATUS_IO,
 * STATUS_BAD_DATA, STATUS_MEMORY. service_log_free in every case. */
enum status service_log_read(const char *path, struct service_log *out,
                             struct complaint *complaint);
/* The same from memory; `name` is for the complaint. Pure. */
enum status service_log_parse(const char *bytes, size_t length, const char *name,
                              struct service_log *out, struct complaint *complaint);
void service_log_free(struct service_log *log);

/* What people must be told of a log, one remark after the other: lines left out and why, dates that
 * were read by the order of others. Appends remark `index` (0 ...) and returns true; false if
 * there are no more. */
bool service_log_remark(const struct service_log *log, size_t index, struct text *out);

/* The path of the log beside a run file (FOLDER/service-log.csv), or in a folder; it need not be
 * there. To be freed; NULL if memory ran out. */
char *service_log_beside(const char *run);
char *service_log_in(const char *folder);

/* Was this work done on that engine? `label` is the engine's, "" if it has none. */
bool service_event_touches(const struct service_event *event, int engine, const char *label);

/* Drops the work on other boats than that; lines that name no boat stay, and all do if `boat` is
 * "". */
void service_log_keep_boat(struct service_log *log, const char *boat);

/* Was the work done before a run that began then (unix time, s)? On the day of the work itself a
 * run whose recorded purpose is "before service" came before it, any other after it, unless the
 * work has a time of day. `purpose` may be "". */
bool service_event_precedes(const struct service_event *event, int64_t run_start,
                            const char *purpose);

/* Whether the words are the same, whatever the case and with blanks for '-', '_' and '/': so are
 * the boats of the log told. The second ones end after `b_length` bytes. Pure. */
bool service_same_words(const char *a, const char *b, size_t b_length);

/* --- adding a line */

struct service_entry {
    const char *date, *hours, *engine, *what, *by, *notes,
        *boat; /* as typed; "" for what is not known */
};

/* Can the entry be meant? STATUS_BAD_USAGE says what is allowed. */
enum status service_entry_check(const struct service_entry *entry, struct complaint *complaint);

/* Appends one line to the log, which is made if it is not there; nothing in it is rewritten. The
 * new line has the columns and the separator of the file. Complains as the reader does about what
 * cannot be meant, before anything is written; a line that cannot be written whole is taken off
 * again. STATUS_BAD_USAGE, STATUS_BAD_DATA (the file that is there cannot be read), STATUS_IO,
 * STATUS_FULL, STATUS_MEMORY. */
enum status service_log_add(const char *path, const struct service_entry *entry,
                            struct complaint *complaint);

#endif
