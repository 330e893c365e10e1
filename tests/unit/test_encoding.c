/* What files hold, in UTF-8. Bytes of UTF-8 and UTF-16: RFC 3629 section 7, RFC 2781 section 4;
 * Windows-1252: the mapping file CP1252.TXT of the Unicode Consortium. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "encoding.h"

static void reads(const char *bytes, size_t length, const char *expected, const char *encoding)
{
    size_t out_length = 0;
    const char *foreign = "?";
    char *text = encoding_decode(bytes, length, &out_length, &foreign);
    assert_non_null(text);
    assert_string_equal(text, expected);
    assert_int_equal(out_length, strlen(expected));
    if (encoding == NULL)
        assert_null(foreign);
    else
        assert_string_equal(foreign, encoding);
    free(text);
}
#define READS(bytes, expected, encoding) reads(bytes, sizeof(bytes) - 1, expected, encoding)

static void test_utf8(void **state)
{
    (void)state;
    READS("", "", NULL);
    READS("time,rpm\r\n", "time,rpm\r\n", NULL);
    READS("A\xE2\x89\xA2\xCE\x91.", "A\xE2\x89\xA2\xCE\x91.", NULL); /* RFC 3629 */
    READS("\xEF\xBB\xBFtime", "\xEF\xBB\xBFtime", NULL);             /* a mark stays */
}

/* RFC 2781: U+12345 is the pair D808 DF45. */
static void test_utf16(void **state)
{
    (void)state;
    READS("\xFE\xFF\xD8\x08\xDF\x45\x00=\x00R\x00"
          "a",
          "\xF0\x92\x8D\x85=Ra", "UTF-16");
    READS("\xFF\xFE\x08\xD8\x45\xDF=\x00R\x00"
          "a\x00",
          "\xF0\x92\x8D\x85=Ra", "UTF-16");
}

static void test_windows(void **state)
{
    (void)state;
    READS("sea [\xB0"
          "C] \x80 \x96 \xE9",
          "sea [\xC2\xB0"
          "C] \xE2\x82\xAC \xE2\x80\x93 \xC3\xA9",
          "WINDOWS-1252");
}

static void refuses(const char *bytes, size_t length)
{
    size_t out_length;
    const char *foreign;
    assert_null(encoding_decode(bytes, length, &out_length, &foreign));
}

static void test_no_text(void **state)
{
    (void)state;
    refuses("a\0b", 3);                  /* UTF-8 with a NUL */
    refuses("\xE9\0b", 3);               /* and what is not UTF-8 with one */
    refuses("\x81", 1);                  /* stands for nothing in Windows-1252 */
    refuses("\xFF\xFE\x08\xD8 \x00", 6); /* half a pair */
    refuses("\xFF\xFE\x00\x00", 4);      /* a NUL of UTF-16 */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_utf8),
        cmocka_unit_test(test_utf16),
        cmocka_unit_test(test_windows),
        cmocka_unit_test(test_no_text),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
