/* The contrast of every colour of page, PDF and charts on each ground it stands on, by the formulas
 * of WCAG 2.1 (relative luminance and contrast ratio), against its success criteria 1.4.3 (words:
 * 4.5) and 1.4.11 (marks that tell something: 3). */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "../../analyze/chart.h"
#include "../../analyze/colour.h"
#include "../../analyze/report.h"
#include "made_answer.h"

static double linear(unsigned byte)
{
    double share = byte / 255.0;
    return share <= 0.03928 ? share / 12.92 : pow((share + 0.055) / 1.055, 2.4);
}

static double luminance(unsigned rgb)
{
    return 0.2126 * linear(rgb >> 16) + 0.7152 * linear(rgb >> 8 & 255) +
           0.0722 * linear(rgb & 255);
}

static double contrast(unsigned a, unsigned b)
{
    double one = luminance(a), other = luminance(b);
    return (fmax(one, other) + 0.05) / (fmin(one, other) + 0.05);
}

/* Black on white has 21, by the definition; #777777 on white 4.48 (WCAG's well-known near miss). */
static void the_formula_is_right(void **state)
{
    (void)state;
    assert_true(fabs(contrast(0x000000, 0xffffff) - 21) < 1e-9);
    assert_true(fabs(contrast(0x777777, 0xffffff) - 4.48) < 0.005);
    assert_true(fabs(contrast(0x123456, 0x123456) - 1) < 1e-9);
}

static void every_colour_stands_out(void **state)
{
    (void)state;
    static const struct {
        unsigned bit, rgb;
        const char *name;
    } grounds[] = {{ON_WHITE, COLOUR_WHITE, "white"},
                   {ON_GROUND, COLOUR_GROUND, "ground"},
                   {ON_PALE, COLOUR_PALE, "pale"},
                   {ON_FAINT, COLOUR_FAINT, "faint"}};
    static const double least[] = {[COLOUR_ROLE_WORDS] = 4.5, [COLOUR_ROLE_MARK] = 3};
    static const char *const roles[] = {"ground", "words", "mark", "decoration"};
    for (size_t i = 0; i < colour_count; i++)
        for (size_t g = 0; g < 4; g++) {
            if (!(colours[i].grounds & grounds[g].bit))
                continue;
            double ratio = contrast(colours[i].rgb, grounds[g].rgb);
            print_message("%-8s #%06x on %-8s %5.2f  (%s)\n", colours[i].name, colours[i].rgb,
                          grounds[g].name, ratio, roles[colours[i].role]);
            if (colours[i].role != COLOUR_ROLE_DECORATION && ratio < least[colours[i].role])
                fail_msg("%s on %s: %.2f", colours[i].name, grounds[g].name, ratio);
        }
}

/* Before and after are told apart without colour too: by lightness in grey print. */
static void sides_differ_in_grey(void **state)
{
    (void)state;
    assert_true(contrast(COLOUR_BEFORE, COLOUR_AFTER) > 1.5);
}

static bool in_table(const char *digits)
{
    unsigned rgb = (unsigned)strtoul(digits, NULL, 16);
    for (size_t i = 0; i < colour_count; i++)
        if (colours[i].rgb == rgb)
            return true;
    return false;
}

/* Every "#rrggbb" of a text is in the table; returns how many there are. */
static size_t colours_in(const struct text *text)
{
    size_t count = 0;
    for (const char *at = text_string(text); (at = strchr(at, '#')) != NULL; at++)
        if (strspn(at + 1, "0123456789abcdefABCDEF") == 6) {
            count++;
            if (!in_table(at + 1))
                fail_msg("%.7s is not in colours.def", at);
        }
    return count;
}

static void nothing_has_a_colour_of_its_own(void **state)
{
    (void)state;
    static const struct style si = {UNITS_SI, false};
    struct answer answer;
    struct drawing_list drawings = {0};
    struct document document = {0};
    struct text page = {0};
    made_answer(&answer, 2);
    assert_int_equal(charts_plan(&answer, &si, &drawings, NULL), STATUS_OK);
    for (size_t i = 0; i < drawings.count; i++) {
        struct text script = {0};
        chart_script(&script, &drawings.list[i]);
        assert_true(colours_in(&script) >= colour_count);
        assert_null(strstr(text_string(&script), "rgb '"));
        text_free(&script);
    }
    struct report_input input = {.extent = REPORT_WHOLE,
                                 .answer = &answer,
                                 .style = &si,
                                 .drawings = &drawings,
                                 .command = "x"};
    assert_int_equal(report_build(&input, &document, NULL), STATUS_OK);
    report_html(&page, &document, &drawings);
    assert_true(colours_in(&page) >= colour_count);
    text_free(&page);
    document_free(&document);
    charts_free(&drawings);
    made_free(&answer);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_formula_is_right),
        cmocka_unit_test(every_colour_stands_out),
        cmocka_unit_test(sides_differ_in_grey),
        cmocka_unit_test(nothing_has_a_colour_of_its_own),
    };
    return cmocka_run_group_tests_name("colour", tests, NULL, NULL);
}
