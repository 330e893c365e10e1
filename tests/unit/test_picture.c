/* What is done to gnuplot's pictures. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <string.h>

#include "../../analyze/picture.h"

static void lets_a_drawing_through(void **state)
{
    (void)state;
    struct text page = {0};
    assert_true(picture_svg(
        &page,
        "<?xml version=\"1.0\"?>\n<!-- made -->\n<svg width=\"6\" height='4' viewBox='0 0 6 4'>"
        "<title>t</title><desc>Produced</desc><defs><circle id='gpDot' r='0.5'/></defs>"
        "<g fill=\"none\"><use xlink:href='#gpDot' fill='url(#gpPat1)'/>"
        "<text>a &lt; b</text></g></svg>\n",
        "coolant", "what \"it\" shows"));
    assert_string_equal(
        text_string(&page),
        "<svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" "
        "role=\"img\" aria-label=\"what &quot;it&quot; shows\" viewBox=\"0 0 6 4\">"
        "<defs><circle id=\"coolant-gpDot\" r=\"0.5\"/></defs>"
        "<g fill=\"none\"><use xlink:href=\"#coolant-gpDot\" fill=\"url(#coolant-gpPat1)\"/>"
        "<text>a &lt; b</text></g></svg>\n");
    text_free(&page);
}

static void lets_nothing_run_link_or_load(void **state)
{
    (void)state;
    static const char *const evil[] = {
        "<svg onload=\"evil()\"><g onclick='evil()' style='evil:url(x)'/></svg>",
        "<svg><script>evil()</script></svg>",
        "<svg><a xlink:href='javascript:evil()'><text>x</text></a></svg>",
        "<svg><use xlink:href='http://evil/x#y'/></svg>",
        "<svg><rect fill='url(http://evil/x)'/></svg>",
        "<svg><image href='evil.png'/></svg>",
        "<svg><foreignObject>evil</foreignObject></svg>",
        "<svg><style>evil</style></svg>",
        "<svg><g fill='\"><img src=evil>'/></svg>",
        "<svg><!--><b>evil</b>--></svg>",
    };
    for (size_t i = 0; i < sizeof evil / sizeof evil[0]; i++) {
        struct text page = {0};
        if (picture_svg(&page, evil[i], "p", "alt")) {
            const char *shown = strstr(text_string(&page), "evil");
            if (shown != NULL && strstr(shown, "&gt;") == NULL)
                fail_msg("%s became %s", evil[i], text_string(&page));
            assert_null(strstr(text_string(&page), "<img"));
            assert_null(strstr(text_string(&page), "<b>"));
        }
        text_free(&page);
    }
}

static void refuses_what_is_no_svg(void **state)
{
    (void)state;
    static const char *const other[] = {
        "", "text", "<svg", "<svg><g>", "<svg><g a='></svg>", "<!-- <svg></svg>", "<p>x</p>"};
    for (size_t i = 0; i < sizeof other / sizeof other[0]; i++) {
        struct text page = {0};
        assert_false(picture_svg(&page, other[i], "p", "alt"));
        text_free(&page);
    }
}

/* The smallest PNG: signature and IHDR of one grey pixel, IDAT, IEND (PNG specification, 5.2). */
static const char png[] =
    "\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\0\1\0\0\0\1\x08\0\0\0\0\x3a\x7e\x9b\x55"
    "\0\0\0\nIDATx\xda\x63\xf8\x0f\0\1\1\1\0\x1b\xb6\xee\x56\0\0\0\0IEND"
    "\xae\x42\x60\x82";

static void says_300_dots_an_inch_once(void **state)
{
    (void)state;
    struct text picture = {0};
    text_add_bytes(&picture, png, sizeof png - 1);
    assert_true(picture_png_dpi(&picture));
    assert_int_equal(picture.length, sizeof png - 1 + 21);
    /* 11811 dots a metre is 300 an inch; CRC-32 of the chunk by zlib */
    assert_memory_equal(picture.bytes + 33,
                        "\0\0\0\x09pHYs\0\0\x2e\x23\0\0\x2e\x23\x01\x78\xa5\x3f\x76", 21);
    assert_memory_equal(picture.bytes + 33 + 21, png + 33, sizeof png - 1 - 33);
    assert_false(picture_png_dpi(&picture));
    text_free(&picture);
}

static void leaves_other_bytes_alone(void **state)
{
    (void)state;
    struct text picture = {0};
    text_add(&picture, "GIF89a and more bytes than a header of a PNG has");
    assert_false(picture_png_dpi(&picture));
    text_free(&picture);
    assert_false(picture_png_dpi(&picture));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lets_a_drawing_through),   cmocka_unit_test(lets_nothing_run_link_or_load),
        cmocka_unit_test(refuses_what_is_no_svg),   cmocka_unit_test(says_300_dots_an_inch_once),
        cmocka_unit_test(leaves_other_bytes_alone),
    };
    return cmocka_run_group_tests_name("picture", tests, NULL, NULL);
}
