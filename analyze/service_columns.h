/* service_columns.h - the columns of a service log, shared by what reads and what adds lines. */
#ifndef SEARUN_SERVICE_COLUMNS_H
#define SEARUN_SERVICE_COLUMNS_H

#include <stdio.h>

#include "csv.h"
#include "service_log.h"

enum service_column_id {
    SERVICE_DATE,
    SERVICE_HOURS,
    SERVICE_ENGINE,
    SERVICE_WHAT,
    SERVICE_BY,
    SERVICE_NOTES,
    SERVICE_BOAT,
    SERVICE_COLUMNS /* also: no column of ours */
};

#define SERVICE_USUAL SERVICE_BOAT /* columns of a new log, unless a boat is named */

struct service_column {
    const char *title, *words; /* other titles, between | */
    bool needed;
    /* Takes a field into the event; STATUS_BAD_DATA says what is allowed, STATUS_MEMORY. */
    enum status (*read)(const char *text, struct service_event *event, struct complaint *complaint);
};
extern const struct service_column service_columns[SERVICE_COLUMNS];

/* Which column stands at which place of a file. */
struct service_layout {
    size_t count;
    enum service_column_id column[CSV_FIELDS_MAX];
};

/* From the row of titles; those that are not ours go into log->ignored unless log is NULL. */
enum status service_layout_read(const struct csv_row *row, struct service_layout *out,
                                struct service_log *log, struct complaint *complaint);

enum service_column_id service_column_find(const char *title);

/* Whether the words are the same as one of those between '|', as service_same_words has it. */
bool service_among_words(const char *words, const char *list);

/* The rest of a file, at most a little more than a log may have. STATUS_IO, STATUS_MEMORY. */
enum status service_text_read(FILE *file, const char *path, struct text *out,
                              struct complaint *complaint);

#endif
