/* The words of pictures in a PDF: they are there, what was there stays, and files of another kind
 * are left alone. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdlib.h>
#include <string.h>

#include "../../analyze/pdf_alt.h"
#include "../../analyze/pdf_book.h"

static const char svg[] = "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 10 5'>"
                          "<rect width='10' height='5'/></svg>";

/* A PDF of two pages with a picture on each. */
static void make_pdf(struct text *out)
{
    static const struct face face = {BOOK_FAMILY, 9, false};
    struct book book;
    assert_int_equal(book_open(&book, out, PAPER_A4, "Tern's Reach", NULL), STATUS_OK);
    book_tag(&book, "Document");
    for (int page = 0; page < 2; page++) {
        if (page > 0)
            book_next_page(&book);
        book_tag(&book, "P");
        book_words(&book, &face, &ink_black, 0, "words");
        book_end_tag(&book, "P");
        book_tag(&book, "Figure");
        assert_true(book_picture(&book, svg, sizeof svg - 1, 100, 50));
        book_end_tag(&book, "Figure");
    }
    book_end_tag(&book, "Document");
    assert_int_equal(book_close(&book, NULL), STATUS_OK);
}

static int forget(void **state)
{
    (void)state;
    book_forget_fonts();
    return 0;
}

static const char *const alts[] = {"one \xe2\x88\x92"
                                   "3 K",
                                   "two \xf0\x9f\x9a\xa4"};

static size_t count_of(const struct text *text, const char *words)
{
    size_t count = 0;
    const char *at = text->bytes, *end = text->bytes + text->length;
    while ((at = memmem(at, (size_t)(end - at), words, strlen(words))) != NULL) {
        count++;
        at++;
    }
    return count;
}

static void figures_get_their_words(void **state)
{
    struct text pdf = {0};
    (void)state;
    make_pdf(&pdf);
    size_t before = pdf.length;
    char *old = malloc(before);
    assert_non_null(old);
    memcpy(old, pdf.bytes, before);
    assert_true(pdf_alt_add(&pdf, alts, 2, "en"));
    assert_memory_equal(pdf.bytes, old, before); /* an update leaves what is there */
    assert_int_equal(count_of(&pdf, "/Alt <FEFF"), 2);
    assert_int_equal(count_of(&pdf, "/Alt <FEFF006F006E00650020221200330020004B>"), 1);
    assert_int_equal(count_of(&pdf, "/Alt <FEFF00740077006F0020D83DDEA4>"), 1); /* U+1F6A4 */
    assert_int_equal(count_of(&pdf, "/Lang (en)"), 1);
    assert_int_equal(count_of(&pdf, "/MarkInfo << /Marked true >>"), 2); /* Cairo's, in both */
    free(old);
    text_free(&pdf);
}

/* Each place named by the new table is that of its object, and the old table is named too. */
static void the_table_is_right(void **state)
{
    struct text pdf = {0};
    (void)state;
    make_pdf(&pdf);
    size_t before = pdf.length;
    assert_true(pdf_alt_add(&pdf, alts, 2, "en"));
    const char *tail = memmem(pdf.bytes + before, pdf.length - before, "\nxref\n", 6);
    assert_non_null(tail);
    const char *at = tail + 6;
    size_t entries = 0;
    for (; strncmp(at, "trailer", 7) != 0; entries++) {
        char head[40], *rest;
        unsigned long number = strtoul(at, &rest, 10), one = strtoul(rest, &rest, 10);
        unsigned long place = strtoul(rest, &rest, 10);
        assert_int_equal(one, 1);
        assert_int_equal(strncmp(rest, " 00000 n \n", 10), 0);
        snprintf(head, sizeof head, "%lu 0 obj\n", number);
        assert_true(place >= before && place < pdf.length);
        assert_memory_equal(pdf.bytes + place, head, strlen(head));
        at = rest + 10;
    }
    assert_int_equal(entries, 3); /* two figures and the catalog */
    const char *previous = strstr(at, "/Prev ");
    assert_non_null(previous);
    assert_memory_equal(pdf.bytes + strtoul(previous + 6, NULL, 10), "xref\n", 5);
    const char *start = strstr(at, "startxref\n");
    assert_non_null(start);
    assert_int_equal(strtoul(start + 10, NULL, 10), (size_t)(tail + 1 - pdf.bytes));
    text_free(&pdf);
}

static void other_files_are_left_alone(void **state)
{
    struct text pdf = {0}, other = {0};
    (void)state;
    make_pdf(&pdf);
    size_t length = pdf.length;
    assert_false(pdf_alt_add(&pdf, alts, 1, "en")); /* there are two figures */
    assert_int_equal(pdf.length, length);
    assert_false(pdf_alt_add(&other, alts, 0, "en"));
    text_add(&other, "startxref\n99999999999999999999999\n%%EOF\n");
    assert_false(pdf_alt_add(&other, alts, 0, "en"));
    text_free(&other);
    for (size_t cut = 0; cut < length; cut += 1 + length / 400) { /* cut off anywhere */
        text_add_bytes(&other, pdf.bytes, cut);
        assert_false(pdf_alt_add(&other, alts, 2, "en"));
        assert_int_equal(other.length, cut);
        text_free(&other);
    }
    text_free(&pdf);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(figures_get_their_words),
        cmocka_unit_test(the_table_is_right),
        cmocka_unit_test(other_files_are_left_alone),
    };
    return cmocka_run_group_tests_name("pdf_alt", tests, NULL, forget);
}
