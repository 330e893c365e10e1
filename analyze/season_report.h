/* season_report.h - the report of the seasons: its table of sections, its tables and its JSON. */
#ifndef SEARUN_SEASON_REPORT_H
#define SEARUN_SEASON_REPORT_H

#include "report.h"
#include "seasons.h"

#define SEASONS_FORMAT "searun seasons 1"

extern const struct section season_sections[];
extern const size_t season_section_count;

/* Makes the document; free it in every case. STATUS_MEMORY. */
enum status season_report_build(const struct report_input *input, struct document *out,
                                struct complaint *complaint);

/* Everything in degC, K, rpm, h and ISO 8601; what is not known is null. STATUS_MEMORY. */
enum status seasons_json(const struct seasons *seasons, const char *command, struct text *out,
                         struct complaint *complaint);

/* A row an engine and outing; a row a service. Stored units, decimal points. */
void season_outings_csv(struct text *out, const struct seasons *seasons);
void season_services_csv(struct text *out, const struct seasons *seasons);

/* --- for sections and charts */

/* The part of an interval `all` that is an outing's own, its day and its holds. What all outings
 * share (thermostat ...) would make all of them alike wide and hide how they lie to each other. */
struct interval season_own_interval(const struct season_series *series,
                                    const struct season_point *point, struct interval all);

/* "main", "port", or "engine 0"; of the boat where there are several. */
struct word season_engine_name(const struct seasons *seasons, const struct season_engine *engine);
const char *season_boat_name(const struct seasons *seasons, size_t boat);
/* "September 2028"; "no date in sight" for INFINITY. */
struct word season_month(double at);
/* "2028-09-04" */
struct word season_day(double at);
/* The alarm date in one sentence, and whether it is time to do something. */
enum finding season_headline(const struct seasons *seasons, const struct season_engine *engine,
                             struct text *out);

#endif
