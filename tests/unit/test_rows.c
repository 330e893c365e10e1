/* test_rows.c - rows and cells, by the rules and the examples of RFC 4180, section 2. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>
#include <stdio.h>
#include <string.h>

#include "../../logger/rows.h"

/* The text as rows: cells in [], one row a line. */
static const char *rows_of(const char *text, size_t length)
{
    static char out[2000];
    static struct cells row;
    struct rows csv;
    size_t n = 0;
    out[0] = '\0';
    assert_int_equal(rows_open(&csv, text, length), STATUS_OK);
    while (rows_next(&csv, &row)) {
        n += (size_t)snprintf(out + n, sizeof out - n, "%zu", row.line);
        for (size_t i = 0; i < row.count; i++)
            n += (size_t)snprintf(out + n, sizeof out - n, "[%s]", row.cell[i]);
        n += (size_t)snprintf(out + n, sizeof out - n, "%s;", row.unclosed ? "!" : "");
    }
    rows_close(&csv);
    return out;
}

static void expect(const char *text, const char *rows)
{
    assert_string_equal(rows_of(text, strlen(text)), rows);
}

static void test_rfc_examples(void **state)
{
    (void)state;
    expect("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", "1[aaa][bbb][ccc];2[zzz][yyy][xxx];"); /* 2.1 */
    expect("aaa,bbb,ccc\r\nzzz,yyy,xxx", "1[aaa][bbb][ccc];2[zzz][yyy][xxx];");     /* 2.2 */
    expect("\"aaa\",\"bbb\",\"ccc\"\r\n", "1[aaa][bbb][ccc];");                     /* 2.5 */
    expect("\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx\r\n",
           "1[aaa][b\r\nbb][ccc];3[zzz][yyy][xxx];");             /* 2.6 */
    expect("\"aaa\",\"b\"\"bb\",\"ccc\"", "1[aaa][b\"bb][ccc];"); /* 2.7 */
}

static void test_beyond_the_rules(void **state)
{
    (void)state;
    expect("\xEF\xBB\xBF"
           "a,b\n1,2\n",
           "1[a][b];2[1][2];");
    expect("a;b\n1,5;2\n", "1[a][b];2[1,5][2];");
    expect("sep=;\r\na;b\n1,5;2\n", "2[a][b];3[1,5][2];");
    expect("sep=;", "1[sep=][];");
    expect("a\tb\n1\t2\n", "1[a][b];2[1][2];");
    expect(" a , b \n\n,\n", "1[a][b];2;3[][];");
    expect("a,b\nnotes with ; in it,c\n", "1[a][b];2[notes with ; in it][c];");
    expect("a,\"never closed\nb,c\n", "1[a][never closed\nb,c\n]!;");
    expect("", "");
    expect("\n", "1;");
    expect("one", "1[one];");
    expect(",", "1[][];");
    expect("a,\"b\" ,c\n", "1[a][b][c];");
}

static void test_where_rows_lie(void **state)
{
    (void)state;
    static struct cells row;
    struct rows csv;
    const char *text = "a,b\r\n\"c\nd\",e\nf";
    assert_int_equal(rows_open(&csv, text, strlen(text)), STATUS_OK);
    assert_true(rows_next(&csv, &row));
    assert_int_equal(row.from, 0);
    assert_int_equal(row.to, 3);
    assert_true(rows_next(&csv, &row));
    assert_int_equal(row.from, 5);
    assert_int_equal(row.to, 12);
    assert_true(rows_next(&csv, &row));
    assert_int_equal(row.line, 4);
    assert_false(rows_next(&csv, &row));
    rows_close(&csv);
}

static void test_many_cells(void **state)
{
    (void)state;
    static struct cells row;
    static char text[2 * CELLS_ROW_MAX + 40];
    struct rows csv;
    memset(text, ',', CELLS_ROW_MAX + 20);
    assert_int_equal(rows_open(&csv, text, strlen(text)), STATUS_OK);
    assert_true(rows_next(&csv, &row));
    assert_int_equal(row.count, CELLS_ROW_MAX);
    assert_int_equal(row.beyond, 21);
    rows_close(&csv);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_rfc_examples),
        cmocka_unit_test(test_beyond_the_rules),
        cmocka_unit_test(test_where_rows_lie),
        cmocka_unit_test(test_many_cells),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
