/* section_service.h - the service history and its advice as blocks, for every report that has
 * them. */
#ifndef SEARUN_SECTION_SERVICE_H
#define SEARUN_SECTION_SERVICE_H

#include "advice.h"
#include "document.h"
#include "words.h"

/* The whole log as a table, in the order of dates. Nothing for an empty log. */
void service_table(struct document *document, const struct style *style,
                   const struct service_log *log);

/* What usually comes next for one engine, a list; `name` heads it, NULL: no heading. */
void service_advice(struct document *document, const struct style *style, const char *name,
                    const struct advice_input *input);

/* The same of all seasons: the log that they were read with, and advice for each engine of each
 * boat from what they show of it. Nothing if there was no log. The log is read again; one that has
 * vanished since is told. */
struct seasons;
void service_of_seasons(struct document *document, const struct style *style,
                        const struct seasons *seasons);

#endif
