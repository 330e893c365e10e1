/* test_crc32c.c - the CRC of journal blocks against published values. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

#include "../../logger/crc32c.h"

static struct crc32c crc;

/* The check value that the common catalogues of CRC algorithms give for CRC-32C (CRC-32/ISCSI). */
static void test_check_value(void **state)
{
    (void)state;
    assert_int_equal(crc32c_of(&crc, "123456789", 9), 0xE3069283);
    assert_int_equal(crc32c_of(&crc, "", 0), 0);
}

/* RFC 3720, appendix B.4; its bytes are in the order of transmission, lowest first. */
static void test_rfc_3720(void **state)
{
    (void)state;
    static const unsigned char read_10[48] = {
        0x01, 0xC0, 0, 0,    0, 0, 0, 0,    0,    0, 0, 0, 0, 0, 0, 0, 0x14, 0, 0, 0, 0, 0, 4, 0,
        0,    0,    0, 0x14, 0, 0, 0, 0x18, 0x28, 0, 0, 0, 0, 0, 0, 0, 2,    0, 0, 0, 0, 0, 0, 0};
    unsigned char bytes[32];
    memset(bytes, 0, sizeof bytes);
    assert_int_equal(crc32c_of(&crc, bytes, sizeof bytes), 0x8A9136AA);
    memset(bytes, 0xFF, sizeof bytes);
    assert_int_equal(crc32c_of(&crc, bytes, sizeof bytes), 0x62A8AB43);
    for (unsigned i = 0; i < sizeof bytes; i++)
        bytes[i] = (unsigned char)i;
    assert_int_equal(crc32c_of(&crc, bytes, sizeof bytes), 0x46DD794E);
    for (unsigned i = 0; i < sizeof bytes; i++)
        bytes[i] = (unsigned char)(31 - i);
    assert_int_equal(crc32c_of(&crc, bytes, sizeof bytes), 0x113FDB5C);
    assert_int_equal(crc32c_of(&crc, read_10, sizeof read_10), 0xD9963A56);
}

/* Against the definition, a bit at a time. */
static uint32_t bit_by_bit(const unsigned char *bytes, size_t length)
{
    uint32_t sum = UINT32_MAX;
    for (size_t i = 0; i < length; i++) {
        sum ^= bytes[i];
        for (int bit = 0; bit < 8; bit++)
            sum = sum >> 1 ^ (sum & 1 ? UINT32_C(0x82F63B78) : 0);
    }
    return ~sum;
}

static void test_random(void **state)
{
    (void)state;
    unsigned seed = (unsigned)time(NULL);
    unsigned char bytes[100];
    print_message("seed %u\n", seed);
    for (int round = 0; round < 2000; round++) {
        size_t from = (size_t)rand_r(&seed) % 9, length = (size_t)rand_r(&seed) % 90;
        for (size_t i = 0; i < sizeof bytes; i++)
            bytes[i] = (unsigned char)rand_r(&seed);
        assert_int_equal(crc32c_of(&crc, bytes + from, length), bit_by_bit(bytes + from, length));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_check_value),
        cmocka_unit_test(test_rfc_3720),
        cmocka_unit_test(test_random),
    };
    crc32c_init(&crc);
    return cmocka_run_group_tests(tests, NULL, NULL);
}
