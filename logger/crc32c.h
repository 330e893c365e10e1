/* crc32c.h - the CRC that closes the blocks of a journal. Pure.
 *
 * CRC-32C (Castagnoli): polynomial 1EDC6F41h, reflected, first and last value inverted, as iSCSI,
 * SCTP and ext4 use it. Source: RFC 3720, section 12.1 and appendix B.4.
 */
#ifndef SEARUN_CRC32C_H
#define SEARUN_CRC32C_H

#include <stddef.h>
#include <stdint.h>

/* Tables for eight bytes at a time. */
struct crc32c {
    uint32_t table[8][256];
};

void crc32c_init(struct crc32c *crc);

/* The CRC of `length` bytes. */
uint32_t crc32c_of(const struct crc32c *crc, const void *bytes, size_t length);

#endif
