/* crc32c.c - see crc32c.h. */
#include "crc32c.h"

#define POLYNOMIAL UINT32_C(0x82F63B78) /* 1EDC6F41h, lowest bit first */

/* What one byte leaves behind. */
static uint32_t remainder_of(uint32_t byte)
{
    for (int bit = 0; bit < 8; bit++)
        byte = byte >> 1 ^ (byte & 1 ? POLYNOMIAL : 0);
    return byte;
}

void crc32c_init(struct crc32c *crc)
{
    for (uint32_t byte = 0; byte < 256; byte++)
        crc->table[0][byte] = remainder_of(byte);
    /* Table n: the same byte with n zero bytes behind it. */
    for (int n = 1; n < 8; n++)
        for (uint32_t byte = 0; byte < 256; byte++) {
            uint32_t before = crc->table[n - 1][byte];
            crc->table[n][byte] = before >> 8 ^ crc->table[0][before & 0xFF];
        }
}

static uint32_t four_bytes(const unsigned char *at)
{
    return (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

uint32_t crc32c_of(const struct crc32c *crc, const void *bytes, size_t length)
{
    const uint32_t(*table)[256] = crc->table;
    const unsigned char *at = bytes;
    uint32_t sum = UINT32_MAX;
    for (; length >= 8; at += 8, length -= 8) {
        uint32_t low = sum ^ four_bytes(at), high = four_bytes(at + 4);
        sum = table[7][low & 0xFF] ^ table[6][low >> 8 & 0xFF] ^ table[5][low >> 16 & 0xFF] ^
              table[4][low >> 24] ^ table[3][high & 0xFF] ^ table[2][high >> 8 & 0xFF] ^
              table[1][high >> 16 & 0xFF] ^ table[0][high >> 24];
    }
    for (; length > 0; at++, length--)
        sum = sum >> 8 ^ table[0][(sum ^ *at) & 0xFF];
    return ~sum;
}
