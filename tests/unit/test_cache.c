/* test_cache.c - outings that are kept: never stale, thrown away at will, whole or not at all. */
#include "run_support.h"

#include <dirent.h>
#include <fcntl.h>
#include <math.h>
#include <sys/stat.h>

#include "../../analyze/cache.h"
#include "../../analyze/outings.h"
#include "../../analyze/workers.h"

static void write_small_run(const char *path, double coolant)
{
    struct facts facts = {0};
    struct complaint complaint = {""};
    facts_set(&facts, FACT_BOAT, 0, "name", "Tern's Reach", &complaint);
    struct run_writer *run = begin_with(path, &facts, &one_input, 1);
    struct origin rpm = make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, 0, "127488", "35", "");
    struct origin heat = make_origin(PROTOCOL_NMEA2000, PLACE_ENGINE, 0, "127489", "35", "");
    struct origin sea = make_origin(PROTOCOL_NMEA2000, PLACE_VESSEL, 0, "130312", "40", "sea");
    for (int s = 0; s < 900; s++) {
        put_value(run, s * NS_PER_S, &rpm, CHANNEL_ENGINE_SPEED, 2200 + s % 3);
        put_value(run, s * NS_PER_S, &heat, CHANNEL_COOLANT_TEMPERATURE, coolant + 0.1 * (s % 2));
        put_value(run, s * NS_PER_S, &sea, CHANNEL_SEA_TEMPERATURE, 17 + 0.1 * (s % 2));
    }
    finish(run, 900 * NS_PER_S, NULL);
    facts_free(&facts);
}

/* Makes a file look as if it had been written an hour ago (the time of change cannot be set: a
 * cache opened later is what makes it old enough). */
static void let_time_pass(struct cache *cache)
{
    cache->opened += 60 * INT64_C(1000000000);
}

static const char *cache_folder(void)
{
    return in_folder("cache");
}

static void remove_cache(void)
{
    char path[600];
    DIR *kept = opendir(cache_folder());
    for (struct dirent *entry; kept && (entry = readdir(kept)) != NULL;) {
        snprintf(path, sizeof path, "%s/%s", cache_folder(), entry->d_name);
        if (entry->d_name[0] != '.')
            unlink(path);
    }
    if (kept)
        closedir(kept);
    rmdir(cache_folder());
}

static size_t count_files(const char *part)
{
    size_t count = 0;
    DIR *kept = opendir(cache_folder());
    assert_non_null(kept);
    for (struct dirent *entry; (entry = readdir(kept)) != NULL;)
        count += strstr(entry->d_name, part) != NULL;
    closedir(kept);
    return count;
}

static double coolant_of(const struct outing *outing)
{
    assert_int_equal(outing->engine_count, 1);
    assert_true(outing->engines[0].hold_count > 0);
    return outing->engines[0].holds[0].coolant;
}

/* Reads one run by way of the cache; `old` as if its file had been lying there for a while. */
static struct outing_result read_run(const char *path)
{
    struct outing_result result;
    struct complaint complaint = {""};
    const struct outings_options options = {.cache = cache_folder(), .processes = 1};
    char *paths[] = {(char *)(uintptr_t)path};
    assert_int_equal(outings_read(paths, 1, &options, &result, &complaint), STATUS_OK);
    return result;
}

static void what_was_read_is_found_again(void **state)
{
    (void)state;
    char path[300];
    snprintf(path, sizeof path, "%s", in_folder("a.h5"));
    write_small_run(path, 80);
    struct outing_result first = read_run(path), second = read_run(path);
    assert_int_equal(first.status, STATUS_OK);
    assert_false(first.kept);
    assert_true(second.kept);
    assert_true(coolant_of(&first.outing) == coolant_of(&second.outing));
    assert_string_equal(second.outing.path, path);
    assert_string_equal(second.outing.name, "a.h5");
    assert_string_equal(facts_get(&second.outing.facts, FACT_BOAT, 0, "name"), "Tern's Reach");
    outings_free(&first, 1);
    outings_free(&second, 1);
    struct stat about;
    assert_int_equal(stat(cache_folder(), &about), 0);
    assert_int_equal(about.st_mode & 0777, 0700);
    remove_cache();
}

/* The index knows a file only if nothing about it moved; one just written is not trusted. */
static void an_index_line_needs_rest(void **state)
{
    (void)state;
    static const char sha[] = "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef";
    struct cache cache;
    struct file_mark mark, other;
    char path[300];
    snprintf(path, sizeof path, "%s", in_folder("b.h5"));
    write_small_run(path, 80);
    assert_true(file_mark_of(path, &mark));
    cache_open(cache_folder(), &cache);
    assert_non_null(cache.folder);
    cache_know(&cache, &mark, sha);
    assert_null(cache_sha256(&cache, &mark));
    let_time_pass(&cache);
    cache_know(&cache, &mark, sha);
    assert_string_equal(cache_sha256(&cache, &mark), sha);
    cache_close(&cache);
    cache_open(cache_folder(), &cache);
    assert_string_equal(cache_sha256(&cache, &mark), sha);
    for (int i = 0; i < 4; i++) {
        other = mark;
        *(i == 0   ? (int64_t *)&other.inode
          : i == 1 ? (int64_t *)&other.size
          : i == 2 ? &other.written
                   : &other.changed) += 1;
        assert_null(cache_sha256(&cache, &other));
    }
    cache_close(&cache);
    remove_cache();
}

/* Written over in place, same size, and the time of writing set back: the time of change tells. */
static void a_changed_file_is_read_again(void **state)
{
    (void)state;
    char path[300], other[300];
    struct stat about;
    snprintf(path, sizeof path, "%s", in_folder("c.h5"));
    snprintf(other, sizeof other, "%s", in_folder("d.h5"));
    write_small_run(path, 80);
    write_small_run(other, 84);
    struct cache cache;
    struct file_mark mark, later;
    struct outing_result first = read_run(path);
    assert_true(file_mark_of(path, &mark));
    cache_open(cache_folder(), &cache);
    let_time_pass(&cache);
    cache_know(&cache, &mark, first.outing.sha256);
    cache_close(&cache);
    struct outing_result second = read_run(path);
    assert_true(second.kept);

    static char bytes[1 << 20];
    FILE *from = fopen(other, "rb"), *to = fopen(path, "r+b");
    assert_non_null(from);
    assert_non_null(to);
    size_t length = fread(bytes, 1, sizeof bytes, from);
    assert_int_equal(stat(path, &about), 0);
    assert_int_equal(fwrite(bytes, 1, length, to), length);
    fclose(from);
    fclose(to);
    assert_int_equal(truncate(path, (off_t)length), 0);
    struct timespec times[2] = {about.st_atim, about.st_mtim};
    assert_int_equal(utimensat(AT_FDCWD, path, times, 0), 0);
    assert_true(file_mark_of(path, &later));
    assert_true(later.written == mark.written && later.inode == mark.inode);
    struct outing_result third = read_run(path);
    assert_false(third.kept);
    assert_true(coolant_of(&third.outing) > 83);
    outings_free(&first, 1);
    outings_free(&second, 1);
    outings_free(&third, 1);
    remove_cache();
}

/* Turns one byte of the only entry over. */
static void spoil_entry(long at, bool cut)
{
    char path[600] = "";
    DIR *kept = opendir(cache_folder());
    assert_non_null(kept);
    for (struct dirent *entry; (entry = readdir(kept)) != NULL;)
        if (strstr(entry->d_name, ".outing"))
            snprintf(path, sizeof path, "%s/%s", cache_folder(), entry->d_name);
    closedir(kept);
    FILE *file = fopen(path, "r+b");
    assert_non_null(file);
    fseek(file, 0, SEEK_END);
    long length = ftell(file);
    at = at < 0 ? length + at : at;
    fseek(file, at, SEEK_SET);
    int byte = fgetc(file);
    fseek(file, at, SEEK_SET);
    fputc(byte ^ 1, file);
    fclose(file);
    if (cut)
        assert_int_equal(truncate(path, length / 2), 0);
}

static void damage_is_ignored_and_written_anew(void **state)
{
    (void)state;
    static const long places[] = {0, 15, 40, 300, 2000, -2};
    char path[300];
    snprintf(path, sizeof path, "%s", in_folder("e.h5"));
    write_small_run(path, 80);
    struct outing_result result = read_run(path);
    const double coolant = coolant_of(&result.outing);
    outings_free(&result, 1);
    for (size_t i = 0; i < 2 * sizeof places / sizeof *places; i++) {
        spoil_entry(places[i / 2], i % 2);
        result = read_run(path);
        assert_int_equal(result.status, STATUS_OK);
        assert_false(result.kept);
        assert_true(coolant_of(&result.outing) == coolant);
        outings_free(&result, 1);
        result = read_run(path);
        assert_true(result.kept);
        outings_free(&result, 1);
    }
    remove_cache();
}

static void a_damaged_index_is_ignored(void **state)
{
    (void)state;
    static const char sha[] = "0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef";
    const struct file_mark mark = {.inode = 7, .size = 9, .written = 5, .changed = 6};
    struct cache cache;
    char path[600];
    cache_open(cache_folder(), &cache);
    cache_know(&cache, &mark, sha);
    cache_close(&cache);
    snprintf(path, sizeof path, "%s/index", cache_folder());
    FILE *file = fopen(path, "r+b");
    assert_non_null(file);
    fseek(file, -3, SEEK_END);
    fputc('8', file);
    fclose(file);
    cache_open(cache_folder(), &cache);
    assert_int_equal(cache.count, 0);
    cache_know(&cache, &mark, sha);
    cache_close(&cache);
    cache_open(cache_folder(), &cache);
    assert_int_equal(cache.count, 1);
    cache_close(&cache);
    remove_cache();
}

static void it_does_not_grow_for_ever(void **state)
{
    (void)state;
    struct cache cache;
    char sha[65], name[700];
    cache_open(cache_folder(), &cache);
    for (int i = 0; i < CACHE_RUNS + 50; i++) {
        const struct file_mark mark = {.inode = (uint64_t)i};
        snprintf(sha, sizeof sha, "%064x", i);
        cache_know(&cache, &mark, sha);
        snprintf(name, sizeof name, "%s/%s.outing", cache_folder(), sha);
        if (i % 200 == 0 || i >= CACHE_RUNS)
            fclose(fopen(name, "w"));
    }
    cache.opened += INT64_C(7200000000000); /* two hours on: waste may go */
    cache_close(&cache);
    assert_int_equal(count_files(".outing"), CACHE_RUNS / 200);
    cache_open(cache_folder(), &cache);
    assert_int_equal(cache.count, CACHE_RUNS);
    cache_close(&cache);
    remove_cache();
}

static void without_a_place_everything_is_read(void **state)
{
    (void)state;
    char path[300], file[300];
    snprintf(path, sizeof path, "%s", in_folder("f.h5"));
    snprintf(file, sizeof file, "%s", in_folder("file"));
    write_small_run(path, 80);
    fclose(fopen(file, "w"));
    for (int i = 0; i < 3; i++) {
        struct outing_result result;
        struct outings_options options = {.processes = 1};
        options.no_cache = i == 0;
        options.cache = i == 1 ? file : "/nowhere/at/all";
        char *paths[] = {path};
        assert_int_equal(outings_read(paths, 1, &options, &result, NULL), STATUS_OK);
        assert_int_equal(result.status, STATUS_OK);
        assert_false(result.kept);
        outings_free(&result, 1);
    }
}

static void the_usual_folder_follows_the_specification(void **state)
{
    (void)state;
    struct cache cache;
    char expected[400];
    setenv("XDG_CACHE_HOME", in_folder("xdg"), 1);
    cache_open(NULL, &cache);
    snprintf(expected, sizeof expected, "%s/searun", in_folder("xdg"));
    assert_string_equal(cache.folder, expected);
    cache_close(&cache);
    assert_int_equal(rmdir(expected), 0);
    assert_int_equal(rmdir(in_folder("xdg")), 0);
    setenv("XDG_CACHE_HOME", "relative/is/ignored", 1);
    setenv("HOME", in_folder(""), 1);
    cache_open(NULL, &cache);
    assert_non_null(strstr(cache.folder, ".cache/searun"));
    snprintf(expected, sizeof expected, "%s", cache.folder);
    cache_close(&cache);
    assert_int_equal(rmdir(expected), 0);
    *strrchr(expected, '/') = '\0';
    assert_int_equal(rmdir(expected), 0);
    unsetenv("HOME");
    cache_open(NULL, &cache);
    assert_null(cache.folder);
    cache_close(&cache);
}

/* --- many at once */

struct seen {
    size_t done, total;
};

static void see(void *self, size_t done, size_t total)
{
    struct seen *seen = self;
    assert_int_equal(done, seen->done + 1);
    *seen = (struct seen){done, total};
}

static void one_bad_run_spoils_no_other(void **state)
{
    (void)state;
    char path[5][300], *paths[5];
    struct outing_result results[5];
    struct seen seen = {0, 0};
    for (int i = 0; i < 5; i++) {
        char name[20];
        snprintf(name, sizeof name, "many%d.h5", i);
        snprintf(path[i], sizeof path[i], "%s", in_folder(name));
        paths[i] = path[i];
        if (i != 1 && i != 3)
            write_small_run(path[i], 78 + i);
    }
    FILE *file = fopen(path[3], "w");
    fputs("no run at all", file);
    fclose(file);
    for (size_t processes = 1; processes <= 3; processes += 2) {
        const struct outings_options options = {
            .no_cache = true, .processes = processes, .progress = see, .self = &seen};
        seen = (struct seen){0, 0};
        assert_int_equal(outings_read(paths, 5, &options, results, NULL), STATUS_OK);
        assert_int_equal(seen.done, 5);
        assert_int_equal(seen.total, 5);
        for (int i = 0; i < 5; i++) {
            if (i == 1 || i == 3) {
                assert_int_equal(results[i].status, i == 1 ? STATUS_NOT_FOUND : STATUS_BAD_DATA);
                assert_non_null(strstr(results[i].complaint.text, path[i]));
                continue;
            }
            assert_int_equal(results[i].status, STATUS_OK);
            assert_true(fabs(coolant_of(&results[i].outing) - 78.05 - i) < 0.1);
        }
        outings_free(results, 5);
    }
}

/* --- workers */

struct tally_of_work {
    size_t done[40], failed;
};

static void square_or_die(void *self, size_t index, struct text *out)
{
    (void)self;
    if (index % 7 == 3)
        _exit(1);
    text_addf(out, "%zu", index * index);
}

static void take_square(void *self, size_t index, const char *bytes, size_t length)
{
    struct tally_of_work *tally = self;
    tally->done[index]++;
    if (!bytes)
        tally->failed++;
    else
        assert_int_equal(strtoul(bytes, NULL, 10), index * index);
    assert_true(!bytes || length > 0);
}

static void jobs_that_kill_their_process_fail_alone(void **state)
{
    (void)state;
    struct tally_of_work tally = {.failed = 0};
    const struct work work = {&tally, square_or_die, take_square};
    assert_int_equal(workers_run(&work, 40, 3, NULL), STATUS_OK);
    for (size_t i = 0; i < 40; i++)
        assert_int_equal(tally.done[i], 1);
    assert_int_equal(tally.failed, 6); /* 3, 10 ... 38 */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_was_read_is_found_again),
        cmocka_unit_test(an_index_line_needs_rest),
        cmocka_unit_test(a_changed_file_is_read_again),
        cmocka_unit_test(damage_is_ignored_and_written_anew),
        cmocka_unit_test(a_damaged_index_is_ignored),
        cmocka_unit_test(it_does_not_grow_for_ever),
        cmocka_unit_test(without_a_place_everything_is_read),
        cmocka_unit_test(the_usual_folder_follows_the_specification),
        cmocka_unit_test(one_bad_run_spoils_no_other),
        cmocka_unit_test(jobs_that_kill_their_process_fail_alone),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
