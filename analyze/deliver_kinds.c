/* deliver_kinds.c - what is particular to the report of a comparison and to that of the seasons. */
#include "deliver.h"

#include "result_json.h"
#include "season_report.h"

/* --- a comparison */

static enum status comparison_json(const void *subject, const char *command, struct text *out,
                                   struct complaint *complaint)
{
    return result_json(subject, command, out, complaint);
}

static enum status comparison_plan(const void *subject, const struct style *style,
                                   struct drawing_list *out, struct complaint *complaint)
{
    return charts_plan(subject, style, out, complaint);
}

static enum status comparison_build(const void *subject, struct report_input *input,
                                    struct document *out, struct complaint *complaint)
{
    input->answer = subject;
    return report_build(input, out, complaint);
}

static void make_holds(struct text *out, const void *subject)
{
    report_holds_csv(out, subject);
}

static const struct delivery_table comparison_tables[] = {{"holds.csv", make_holds}};

const struct delivery_kind delivery_of_comparison = {
    .json = comparison_json,
    .plan = comparison_plan,
    .build = comparison_build,
    .tables = comparison_tables,
    .table_count = sizeof comparison_tables / sizeof comparison_tables[0],
    .leaves = "holds.csv",
};

/* --- the seasons */

static enum status seasons_json_of(const void *subject, const char *command, struct text *out,
                                   struct complaint *complaint)
{
    return seasons_json(subject, command, out, complaint);
}

static enum status seasons_plan(const void *subject, const struct style *style,
                                struct drawing_list *out, struct complaint *complaint)
{
    return season_charts_plan(subject, style, out, complaint);
}

static enum status seasons_build(const void *subject, struct report_input *input,
                                 struct document *out, struct complaint *complaint)
{
    input->seasons = subject;
    return season_report_build(input, out, complaint);
}

static void make_outings(struct text *out, const void *subject)
{
    season_outings_csv(out, subject);
}

static void make_services(struct text *out, const void *subject)
{
    season_services_csv(out, subject);
}

static const struct delivery_table season_tables[] = {{"outings.csv", make_outings},
                                                      {"services.csv", make_services}};

const struct delivery_kind delivery_of_seasons = {
    .json = seasons_json_of,
    .plan = seasons_plan,
    .build = seasons_build,
    .tables = season_tables,
    .table_count = sizeof season_tables / sizeof season_tables[0],
    .leaves = "outings.csv, services.csv",
};
