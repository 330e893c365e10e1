/* sheet.h - a sheet filled in by hand: readings of gauges and thermometers. Pure.
 *
 * The layout is that of a spreadsheet, saved as CSV (rows.h). Lines of a key and a value come
 * first, in any order; then a line of column names with their units, then one row a reading:
 *
 *     boat,Tern's Reach
 *     date,2026-11-25
 *     purpose,before service
 *     thermostat,71 to 82 °C
 *     held,5 min
 *     gauge read to,5 °F
 *     time,rpm,gauge [°F],sea [°C],notes
 *     10:05,1000,165,16.5,
 *
 * Keys are facts (facts.def) and what sheet_head.c names in head_keys[] and sheet_instruments[].
 * Each row says that the speed had been held for the time in the column or line `held`, and that
 * everything was read at its end. What people state of their instruments goes into struct accuracy
 * of the columns.
 */
#ifndef SEARUN_SHEET_H
#define SEARUN_SHEET_H

#include <stdio.h>

#include "tabled.h"

#define SHEET_SIZE_MAX ((size_t)4 << 20)
#define SHEET_SOURCE "sheet"

/* Reads a sheet. STATUS_OK if it has at least one row that could be taken; else STATUS_BAD_DATA
 * with words, or STATUS_MEMORY. A row with more cells than there are columns refuses the whole.
 * Every line or cell that could not be taken is told and counted. */
enum status sheet_read(const char *text, size_t length, const struct remarks *remarks,
                       struct tabled *out, struct complaint *complaint);

/* A sheet to fill in, with the facts that are known already: as CSV for a spreadsheet, or as a page
 * of HTML for a printer. */
void sheet_print_csv(FILE *to, const struct facts *facts);
void sheet_print_page(FILE *to, const struct facts *facts);
/* The same into a new file: the one or the other by its ending, .csv or .html. */
enum status sheet_write_blank(const char *path, const struct facts *facts,
                              struct complaint *complaint);

#endif
