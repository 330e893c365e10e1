/* import.h - the CSV file of a logger, by a map of its columns. Pure. */
#ifndef SEARUN_IMPORT_H
#define SEARUN_IMPORT_H

#include "import_map.h"
#include "tabled.h"

#define IMPORT_SIZE_MAX ((size_t)256 << 20)

/* Reads the rows. STATUS_OK if there is at least one; else STATUS_BAD_DATA with words, or
 * STATUS_MEMORY. Entries and rows that cannot be taken are told and counted. */
enum status import_read(const char *text, size_t length, const struct import_map *map,
                        const struct remarks *remarks, struct tabled *out,
                        struct complaint *complaint);

#endif
