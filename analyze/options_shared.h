/* options_shared.h - what the options of several commands have in common: how values are read, the
 * rows of how an answer is handed over, and those options as words of a command line again. */
#ifndef SEARUN_OPTIONS_SHARED_H
#define SEARUN_OPTIONS_SHARED_H

#include "options.h"

/* The head of a function for option_row.take. */
#define TAKE(name)                                                                                 \
    static enum status name(void *target, const char *value, struct complaint *complaint)

/* --- values; STATUS_BAD_USAGE says what is allowed */

enum status option_read_name(const char **to, const char *value, struct complaint *complaint);
enum status option_read_sea(double *degc, const char *value, struct complaint *complaint);
/* A difference from `least` to `most` K. */
enum status option_read_kelvin(double *kelvin, const char *value, double least, double most,
                               struct complaint *complaint);
/* A whole number from 0 to `most` in decimal digits. */
bool option_read_whole(const char *value, unsigned long long most, unsigned long long *out);
enum status option_read_seed(uint64_t *seed, const char *value, struct complaint *complaint);
/* The channel of a name; CHANNEL_COUNT if there is none. */
enum channel_id option_channel(const char *value, size_t length);
/* CHANNEL=SOURCE, added to a list that has room for SOURCE_WISHES. */
enum status option_read_wish(struct source_wish *list, size_t *count, const char *value,
                             struct complaint *complaint);
enum status option_read_units(struct style *style, const char *value, struct complaint *complaint);

/* --- rows. The request of a command with HANDING_ROWS has its struct handing first. */

enum status option_take_units(void *request, const char *value, struct complaint *complaint);
enum status option_take_decimal(void *request, const char *value, struct complaint *complaint);
enum status option_take_paper(void *request, const char *value, struct complaint *complaint);
enum status option_take_output(void *request, const char *value, struct complaint *complaint);
enum status option_take_json(void *request, const char *value, struct complaint *complaint);
enum status option_take_quiet(void *request, const char *value, struct complaint *complaint);
enum status option_take_nothing(void *request, const char *value, struct complaint *complaint);

#define HANDING_ROWS(files)                                                                        \
    {"--units", "si|us", OPTION_VALUE,                                                             \
     "units of the report: degC, K, kPa, L/h or degF, psi, US gal/h; default si",                  \
     option_take_units},                                                                           \
        {"--decimal", "point|comma", OPTION_VALUE,                                                 \
         "decimal sign of report and charts; default point", option_take_decimal},                 \
        {"--paper", "a4|letter", OPTION_VALUE,                                                     \
         "paper of report.pdf; default a4. report.html fits both", option_take_paper},             \
        {"--output", "DIR", OPTION_VALUE,                                                          \
         "folder for " files " and charts/; made if it is not there; files of an earlier report "  \
         "in it are replaced",                                                                     \
         option_take_output},                                                                      \
        {"--json", "FILE|-", OPTION_VALUE, "write the result as JSON; - is standard output",       \
         option_take_json},                                                                        \
    {                                                                                              \
        "--quiet", "", OPTION_FLAG, "print nothing but complaints", option_take_quiet              \
    }
#define HELP_ROW                                                                                   \
    {                                                                                              \
        "--help", "", OPTION_FLAG, "this text", option_take_nothing                                \
    }

/* --- the command line again; what is NULL, NaN or the default adds nothing */

void option_add_list(struct text *out, char *const *words, size_t count);
void option_add_words(struct text *out, const char *option, const char *words);
void option_add_number(struct text *out, const char *option, double value);
void option_add_thermostat(struct text *out, double start, double full);
void option_add_wishes(struct text *out, const struct source_wish *list, size_t count);
void option_add_handing(struct text *out, uint64_t seed, const struct handing *handing);

#endif
