/* service_add.c - adds a line to the service history. Written once, in one piece, at the end. */
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "service_columns.h"
#include "text.h"

struct adding {
    const char *path;
    const char *typed[SERVICE_COLUMNS];
    struct service_event event; /* what was typed, read back */
    struct service_layout layout;
    char separator;
    bool carriage; /* lines end in CRLF */
    bool fresh;    /* the file has no titles yet */
    struct complaint *complaint;
};

static enum status read_typed(struct adding *adding)
{
    for (size_t i = 0; i < SERVICE_COLUMNS; i++) {
        struct complaint why = {""};
        enum status status = service_columns[i].read(adding->typed[i], &adding->event, &why);
        if (status != STATUS_OK)
            return complain(adding->complaint,
                            status == STATUS_BAD_DATA ? STATUS_BAD_USAGE : status, "%s: %s",
                            service_columns[i].title, why.text);
    }
    return STATUS_OK;
}

/* --- the file that is there */

static void default_layout(struct adding *adding)
{
    adding->fresh = true;
    adding->separator = ',';
    adding->layout.count = adding->typed[SERVICE_BOAT][0] != '\0' ? SERVICE_COLUMNS : SERVICE_USUAL;
    for (size_t i = 0; i < adding->layout.count; i++)
        adding->layout.column[i] = (enum service_column_id)i;
}

static bool has_column(const struct service_layout *layout, size_t column)
{
    for (size_t i = 0; i < layout->count; i++)
        if (layout->column[i] == column)
            return true;
    return false;
}

/* What was typed must have a column, or it would be lost. */
static enum status look_for_columns(const struct adding *adding)
{
    for (size_t i = 0; i < SERVICE_COLUMNS; i++)
        if (adding->typed[i][0] != '\0' && !has_column(&adding->layout, i))
            return complain(adding->complaint, STATUS_BAD_DATA,
                            "%s has no column \"%s\"; add it to its first line, or leave it out",
                            adding->path, service_columns[i].title);
    return STATUS_OK;
}

static enum status learn_layout(struct adding *adding, const struct text *content)
{
    struct service_log log;
    enum status status = service_log_parse(text_string(content), content->length, adding->path,
                                           &log, adding->complaint);
    bool foreign = log.foreign;
    service_log_free(&log);
    if (status != STATUS_OK)
        return status;
    if (foreign) /* a line in UTF-8 behind lines in something else could never be read again */
        return complain(adding->complaint, STATUS_BAD_DATA,
                        "%s is not in UTF-8; save it from the spreadsheet as CSV in UTF-8 before "
                        "lines are added here",
                        adding->path);
    struct csv csv = csv_begin(text_string(content), content->length);
    struct csv_row row = {0};
    bool more = csv_next(&csv, &row);
    while (more && csv_row_blank(&row))
        more = csv_next(&csv, &row);
    adding->carriage = strstr(text_string(content), "\r\n") != NULL;
    adding->separator = csv.separator;
    if (more)
        status = service_layout_read(&row, &adding->layout, NULL, adding->complaint);
    else
        default_layout(adding);
    csv_row_free(&row);
    return status == STATUS_OK ? look_for_columns(adding) : status;
}

/* --- the line */

static void add_hours(struct text *line, const struct adding *adding)
{
    struct text number = {0};
    if (isnan(adding->event.hours))
        return;
    text_addf(&number, "%.10g", adding->event.hours);
    /* Where fields are parted by semicolons, numbers have a decimal comma. */
    char *point = number.bytes != NULL ? strchr(number.bytes, '.') : NULL;
    if (point != NULL && adding->separator == ';')
        *point = ',';
    text_csv(line, text_string(&number));
    line->failed |= number.failed;
    text_free(&number);
}

/* As it was understood, not as it was typed: a log that is written here has one kind of date. */
static void add_date(struct text *line, const struct service_event *event)
{
    const time_t at = (time_t)event->date;
    char date[40];
    struct tm tm;
    gmtime_r(&at, &tm);
    strftime(date, sizeof date, event->day_only ? "%Y-%m-%d" : "%Y-%m-%dT%H:%M:%SZ", &tm);
    text_csv(line, date);
}

static void add_field(struct text *line, const struct adding *adding, size_t column)
{
    if (column == SERVICE_DATE)
        add_date(line, &adding->event);
    else if (column == SERVICE_HOURS)
        add_hours(line, adding);
    else if (column == SERVICE_WHAT)
        text_csv(line, service_title(adding->event.kind));
    else if (column < SERVICE_COLUMNS)
        text_csv(line, adding->typed[column]);
}

static void add_titles(struct text *line, const struct service_layout *layout)
{
    for (size_t i = 0; i < layout->count; i++)
        text_addf(line, "%s%s", i > 0 ? "," : "", service_columns[i].title);
    text_add(line, "\n");
}

static bool ends_in_line_end(const struct text *content)
{
    char last = content->length > 0 ? content->bytes[content->length - 1] : '\n';
    return last == '\n' || last == '\r';
}

static void make_line(struct text *line, const struct adding *adding, const struct text *content)
{
    const char *line_end = adding->carriage ? "\r\n" : "\n";
    const char separator[] = {adding->separator, '\0'};
    if (!ends_in_line_end(content))
        text_add(line, line_end);
    if (adding->fresh)
        add_titles(line, &adding->layout);
    for (size_t i = 0; i < adding->layout.count; i++) {
        text_add(line, i > 0 ? separator : "");
        add_field(line, adding, adding->layout.column[i]);
    }
    text_add(line, line_end);
}

/* --- writing */

static enum status refused(const struct adding *adding, const char *what)
{
    bool full = errno == ENOSPC || errno == EDQUOT;
    return complain(adding->complaint, full ? STATUS_FULL : STATUS_IO,
                    "nothing was added: cannot %s the service log %s: %s", what, adding->path,
                    status_words(errno));
}

/* Appends; what could be written in part only is taken off again. */
static enum status append(const struct adding *adding, int fd, const struct text *line,
                          off_t length)
{
    ssize_t written = write(fd, line->bytes, line->length);
    if (written == (ssize_t)line->length && fsync(fd) == 0)
        return STATUS_OK;
    if (written >= 0 && written < (ssize_t)line->length)
        errno = ENOSPC;
    enum status status = refused(adding, "write to");
    if (written > 0 && ftruncate(fd, length) != 0)
        return complain(adding->complaint, STATUS_IO,
                        "%s was written to in part only: look at its last line", adding->path);
    return status;
}

static enum status add_to(struct adding *adding, FILE *file)
{
    struct text content = {0}, line = {0};
    enum status status = service_text_read(file, adding->path, &content, adding->complaint);
    if (status == STATUS_OK)
        status = learn_layout(adding, &content);
    if (status == STATUS_OK) {
        make_line(&line, adding, &content);
        status = line.failed ? complain(adding->complaint, STATUS_MEMORY, "no memory left")
                             : append(adding, fileno(file), &line, (off_t)content.length);
    }
    text_free(&content);
    text_free(&line);
    return status;
}

/* Opens the log, or makes it; -1 with a complaint. */
static int open_log(const struct adding *adding, enum status *status)
{
    struct stat about;
    int fd = open(adding->path, O_RDWR | O_APPEND | O_CREAT | O_CLOEXEC, 0666);
    if (fd >= 0 && fstat(fd, &about) == 0 && S_ISREG(about.st_mode))
        return fd;
    *status = fd < 0 ? refused(adding, "open")
                     : complain(adding->complaint, STATUS_BAD_DATA, "%s is no file of lines",
                                adding->path);
    if (fd >= 0)
        close(fd);
    return -1;
}

static enum status open_and_add(struct adding *adding)
{
    enum status status = STATUS_OK;
    int fd = open_log(adding, &status);
    if (fd < 0)
        return status;
    FILE *file = fdopen(fd, "rb+");
    if (file == NULL) {
        close(fd);
        return complain(adding->complaint, STATUS_MEMORY, "no memory left");
    }
    /* Two that add at the same time do so one after the other. */
    status = flock(fd, LOCK_EX) == 0 ? add_to(adding, file) : refused(adding, "lock");
    fclose(file);
    return status;
}

static struct adding adding_of(const char *path, const struct service_entry *entry,
                               struct complaint *complaint)
{
    return (struct adding){
        .path = path,
        .typed = {entry->date, entry->hours, entry->engine, entry->what, entry->by, entry->notes,
                  entry->boat},
        .complaint = complaint,
    };
}

enum status service_entry_check(const struct service_entry *entry, struct complaint *complaint)
{
    struct adding adding = adding_of("", entry, complaint);
    enum status status = read_typed(&adding);
    free(adding.event.by);
    free(adding.event.notes);
    return status;
}

enum status service_log_add(const char *path, const struct service_entry *entry,
                            struct complaint *complaint)
{
    struct adding adding = adding_of(path, entry, complaint);
    enum status status = read_typed(&adding);
    if (status == STATUS_OK)
        status = open_and_add(&adding);
    free(adding.event.by);
    free(adding.event.notes);
    return status;
}
