/* test_ring.c - the queue between the loop and the threads that store. Run under the thread
 * sanitizer as well. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <pthread.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <cmocka.h>

#include "../../logger/ring.h"

static struct ring *make_ring(size_t size)
{
    struct ring *ring = NULL;
    assert_int_equal(ring_new(size, 1, &ring), STATUS_OK);
    return ring;
}

static void test_order_and_content(void **state)
{
    (void)state;
    struct ring *ring = make_ring(4096);
    size_t size;
    assert_null(ring_take(ring, 0, 0, &size));
    assert_true(ring_put(ring, "head", 4, "body!", 5));
    assert_true(ring_put(ring, "x", 1, NULL, 0));
    assert_true(ring_put(ring, NULL, 0, NULL, 0));
    const void *record = ring_take(ring, 0, 0, &size);
    assert_int_equal(size, 9);
    assert_memory_equal(record, "headbody!", 9);
    assert_ptr_equal(ring_take(ring, 0, 0, &size), record); /* not released yet: still the same */
    ring_release(ring, 0);
    assert_memory_equal(ring_take(ring, 0, 0, &size), "x", 1);
    ring_release(ring, 0);
    assert_non_null(ring_take(ring, 0, 0, &size));
    assert_int_equal(size, 0);
    ring_release(ring, 0);
    assert_null(ring_take(ring, 0, 0, &size));
    ring_free(ring);
    ring_free(NULL);
}

static void test_aligned(void **state)
{
    (void)state;
    struct ring *ring = make_ring(4096);
    for (size_t length = 0; length < 100; length++) {
        size_t size;
        unsigned char bytes[100] = {0};
        assert_true(ring_put(ring, bytes, length, NULL, 0));
        assert_int_equal((uintptr_t)ring_take(ring, 0, 0, &size) % _Alignof(max_align_t), 0);
        ring_release(ring, 0);
    }
    ring_free(ring);
}

static void test_full_and_too_big(void **state)
{
    (void)state;
    static const unsigned char bytes[1 << 20];
    struct ring *ring = make_ring(4096);
    size_t size, put = 0;
    assert_false(ring_put(ring, bytes, 2049, NULL, 0)); /* over half the ring: never */
    assert_false(ring_put(ring, bytes, sizeof bytes, bytes, sizeof bytes));
    assert_false(ring_put(ring, bytes, SIZE_MAX, bytes, SIZE_MAX));
    assert_true(ring_fill(ring) <= 0);
    while (ring_put(ring, bytes, 100, NULL, 0))
        put++;
    assert_int_equal(put, 4096 / (112 + 16));
    assert_true(ring_fill(ring) > 0.9);
    assert_non_null(ring_take(ring, 0, 0, &size));
    ring_release(ring, 0);
    assert_true(ring_put(ring, bytes, 100, NULL, 0));
    assert_false(ring_put(ring, bytes, 100, NULL, 0));
    ring_free(ring);
}

/* A wait ends by itself, and at once when woken. */
static void test_wait(void **state)
{
    (void)state;
    struct ring *ring = make_ring(4096);
    size_t size;
    assert_null(ring_take(ring, 0, 1, &size));
    ring_wake(ring);
    assert_null(ring_take(ring, 0, 60000, &size)); /* or the test hangs for a minute */
    ring_free(ring);
}

/* --- against a model: every record comes out once, in order, unchanged */

static unsigned next_random(unsigned *seed)
{
    return (unsigned)rand_r(seed);
}

/* Record number n has a length and bytes that follow from n alone. */
static size_t length_of(uint32_t n)
{
    return 4 + n * 2654435761U % 700;
}

static void fill(unsigned char *bytes, uint32_t n)
{
    memset(bytes, (int)(n & 0xFF), length_of(n));
    memcpy(bytes, &n, sizeof n);
}

static bool put_number(struct ring *ring, uint32_t n)
{
    unsigned char bytes[704];
    fill(bytes, n);
    return ring_put(ring, bytes, 4, bytes + 4, length_of(n) - 4);
}

static void check_number(const void *record, size_t size, uint32_t n)
{
    unsigned char bytes[704];
    fill(bytes, n);
    assert_int_equal(size, length_of(n));
    assert_memory_equal(record, bytes, size);
}

static void test_random_one_thread(void **state)
{
    (void)state;
    unsigned seed = (unsigned)time(NULL);
    print_message("seed %u\n", seed);
    struct ring *ring = make_ring(8192);
    uint32_t put = 0, taken = 0;
    for (int round = 0; round < 200000; round++) {
        size_t size;
        if (next_random(&seed) % 2) {
            put += put_number(ring, put);
        } else {
            const void *record = ring_take(ring, 0, 0, &size);
            assert_int_equal(record == NULL, put == taken);
            if (record) {
                check_number(record, size, taken++);
                ring_release(ring, 0);
            }
        }
        assert_in_range(put - taken, 0, 8192 / 32);
    }
    ring_free(ring);
}

/* Two readers, each at its own pace: both get every record, and the slower one decides what is
 * free. */
static void test_two_readers(void **state)
{
    (void)state;
    unsigned seed = (unsigned)time(NULL);
    print_message("seed %u\n", seed);
    struct ring *ring = NULL;
    uint32_t put = 0, taken[2] = {0};
    assert_int_equal(ring_new(8192, 2, &ring), STATUS_OK);
    for (int round = 0; round < 200000; round++) {
        size_t size;
        unsigned reader = next_random(&seed) % 3; /* 2: none, the producer */
        if (reader == 2) {
            put += put_number(ring, put);
            continue;
        }
        const void *record = ring_take(ring, reader, 0, &size);
        assert_int_equal(record == NULL, put == taken[reader]);
        if (record) {
            check_number(record, size, taken[reader]++);
            ring_release(ring, reader);
        }
    }
    while (put_number(ring, put))
        put++;
    uint32_t slowest = taken[0] < taken[1] ? 0 : 1;
    for (size_t size; ring_take(ring, 1 - slowest, 0, &size); ring_release(ring, 1 - slowest))
        ;
    assert_true(ring_fill(ring) > 0.8);
    assert_false(put_number(ring, put));
    for (size_t size; ring_take(ring, slowest, 0, &size); ring_release(ring, slowest))
        check_number(ring_take(ring, slowest, 0, &size), size, taken[slowest]++);
    assert_int_equal(taken[slowest], put);
    assert_true(ring_fill(ring) <= 0);
    ring_free(ring);
}

#define NUMBERS 300000
#define READERS 2

static void *produce(void *argument)
{
    struct ring *ring = argument;
    for (uint32_t n = 0; n < NUMBERS; n++)
        while (!put_number(ring, n))
            nanosleep(&(struct timespec){0, 1000}, NULL);
    ring_wake(ring);
    return NULL;
}

struct consumer {
    pthread_t thread;
    struct ring *ring;
    unsigned reader;
};

static void *consume(void *argument)
{
    const struct consumer *it = argument;
    for (uint32_t n = 0; n < NUMBERS;) {
        size_t size;
        const void *record = ring_take(it->ring, it->reader, 100, &size);
        if (!record)
            continue;
        check_number(record, size, n++);
        ring_release(it->ring, it->reader);
        assert_true(ring_fill(it->ring) >= 0 && ring_fill(it->ring) <= 1);
    }
    return NULL;
}

static void test_threads(void **state)
{
    (void)state;
    struct ring *ring = NULL;
    pthread_t producer;
    struct consumer consumers[READERS];
    assert_int_equal(ring_new(65536, READERS, &ring), STATUS_OK);
    assert_int_equal(pthread_create(&producer, NULL, produce, ring), 0);
    for (unsigned i = 0; i < READERS; i++) {
        consumers[i] = (struct consumer){.ring = ring, .reader = i};
        assert_int_equal(pthread_create(&consumers[i].thread, NULL, consume, &consumers[i]), 0);
    }
    for (unsigned i = 0; i < READERS; i++)
        pthread_join(consumers[i].thread, NULL);
    pthread_join(producer, NULL);
    ring_free(ring);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_order_and_content), cmocka_unit_test(test_aligned),
        cmocka_unit_test(test_full_and_too_big),  cmocka_unit_test(test_wait),
        cmocka_unit_test(test_random_one_thread), cmocka_unit_test(test_two_readers),
        cmocka_unit_test(test_threads),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
