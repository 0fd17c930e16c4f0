/*
 * A plugin that misbehaves on purpose, for tests alone. The second line of a file says how.
 *
 * Never allow it outside a test.
 */
#define _POSIX_C_SOURCE 200809L
#include "curvary_reader.h"

#include <pthread.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#define TEXT(literal) ((curvary_text){(literal), sizeof(literal) - 1})
#define NOTHING ((curvary_text){NULL, 0})
#define NOWHERE ((curvary_span){0, 0})

static int is(curvary_text order, const char *word) {
    return order.len == strlen(word) && memcmp(order.at, word, order.len) == 0;
}

static const curvary_sink *kept;

static void *call_aside(void *unused) {
    (void)unused;
    kept->begin_run(kept->host, NOTHING, NOWHERE);
    return NULL;
}

#pragma GCC diagnostic ignored "-Wpragmas"
#pragma GCC diagnostic ignored "-Winfinite-recursion"
static int deeper(volatile int depth) {
    volatile char room[4096];
    room[0] = (char)depth;
    return deeper(depth + 1) + room[0];
}

/* A run of two points, as it should be. */
static int good(const curvary_sink *sink, size_t count, const curvary_text *x, const curvary_text *y, uint32_t size) {
    curvary_column column = {0};
    curvary_curve curve = {0};
    column.size = size;
    column.count = count;
    column.quantity = TEXT("time");
    column.unit = TEXT("s");
    column.cells = x;
    if (sink->begin_run(sink->host, NOTHING, NOWHERE) != 0) return 1;
    if (sink->axis(sink->host, &column) != 0) return 1;
    column.quantity = TEXT("absorbance");
    column.unit = NOTHING;
    column.cells = y;
    curve.size = sizeof curve;
    curve.column = &column;
    if (sink->curve(sink->host, &curve) != 0) return 1;
    return sink->end_run(sink->host);
}

static int32_t read_file(const curvary_source *source, const curvary_sink *sink) {
    static const curvary_text x[] = {{"0", 1}, {"1", 1}}, y[] = {{"0.10", 4}, {"0.20", 4}};
    static const curvary_text bad[] = {{"0.10", 4}, {"\xff\xfe", 2}};
    const char *line = memchr(source->body.at, '\n', source->body.len);
    curvary_text order = NOTHING;
    uint32_t whole = sizeof(curvary_column);
    if (line != NULL) {
        const char *end;
        order.at = line + 1;
        order.len = source->body.len - (size_t)(order.at - source->body.at);
        end = memchr(order.at, '\n', order.len);
        if (end != NULL) order.len = (size_t)(end - order.at);
    }
    if (is(order, "crash")) {
        raise(SIGSEGV);
    } else if (is(order, "wild-pointer")) {
        *(volatile int *)(uintptr_t)16 = 1;
    } else if (is(order, "abort")) {
        fprintf(stderr, "thread 'reader' panicked: the bench is gone\n");
        abort();
    } else if (is(order, "divide")) {
        volatile int zero = 0;
        return 10 / zero;
    } else if (is(order, "stack")) {
        return deeper(0);
    } else if (is(order, "exit")) {
        exit(0);
    } else if (is(order, "hang")) {
        for (;;) sleep(1);
    } else if (is(order, "spin")) {
        for (;;) __asm__ __volatile__("");
    } else if (is(order, "ignore-signals")) {
        signal(SIGTERM, SIG_IGN);
        signal(SIGINT, SIG_IGN);
        for (;;) sleep(1);
    } else if (is(order, "fork-loop")) {
        for (;;) {
            static const struct timespec pause = {0, 1000000};
            if (fork() < 0) nanosleep(&pause, NULL);
        }
    } else if (is(order, "fork-once")) {
        /* A child that stays when its parent has read. */
        if (fork() == 0) for (;;) sleep(1);
    } else if (is(order, "memory")) {
        for (;;) {
            size_t size = 16u << 20;
            char *block = malloc(size);
            if (block == NULL) abort();
            memset(block, 1, size);
        }
    } else if (is(order, "disk")) {
        static char block[1 << 20];
        FILE *file = fopen("full", "w");
        for (;;) {
            if (file == NULL || fwrite(block, 1, sizeof block, file) == 0) abort();
            fflush(file);
        }
    } else if (is(order, "print")) {
        printf("hello from the plugin\n");
    } else if (is(order, "print-much")) {
        for (int i = 0; i < 200000; i++) printf("hello from the plugin, again and again\n");
    } else if (is(order, "close-all")) {
        for (int fd = 3; fd < 1024; fd++) close(fd);
    } else if (is(order, "write-pipe")) {
        for (int fd = 3; fd < 1024; fd++) {
            if (write(fd, "\x05\0\0\0nonsense", 12) < 0) continue;
        }
    } else if (is(order, "bad-utf8")) {
        return good(sink, 2, x, bad, whole), CURVARY_DONE;
    } else if (is(order, "order")) {
        return sink->end_run(sink->host), CURVARY_DONE;
    } else if (is(order, "two-begins")) {
        sink->begin_run(sink->host, NOTHING, NOWHERE);
        return sink->begin_run(sink->host, NOTHING, NOWHERE), CURVARY_DONE;
    } else if (is(order, "no-end")) {
        return sink->begin_run(sink->host, NOTHING, NOWHERE), CURVARY_DONE;
    } else if (is(order, "size-small")) {
        return good(sink, 2, x, y, 8), CURVARY_DONE;
    } else if (is(order, "count-huge")) {
        return good(sink, (size_t)1 << 60, x, y, whole), CURVARY_DONE;
    } else if (is(order, "count-too-many")) {
        return good(sink, 15u << 20, x, y, whole), CURVARY_DONE;
    } else if (is(order, "text-huge")) {
        curvary_text text = {"abc", (size_t)1 << 40};
        sink->begin_run(sink->host, text, NOWHERE);
    } else if (is(order, "text-null")) {
        curvary_text text = {NULL, 4};
        sink->begin_run(sink->host, text, NOWHERE);
    } else if (is(order, "place-beyond")) {
        curvary_span span = {0, 1u << 30};
        sink->begin_run(sink->host, NOTHING, span);
    } else if (is(order, "cut-character")) {
        /* One byte of a sign that has two. */
        curvary_text half = {source->body.at + source->body.len - 2, 1};
        sink->begin_run(sink->host, NOTHING, NOWHERE);
        sink->claim(sink->host, TEXT("sample"), half, NOWHERE);
        sink->end_run(sink->host);
    } else if (is(order, "quantity")) {
        curvary_column column = {0};
        column.size = whole;
        column.quantity = TEXT("wavelenght");
        column.unit = TEXT("nm");
        column.count = 2;
        column.cells = x;
        sink->begin_run(sink->host, NOTHING, NOWHERE);
        sink->axis(sink->host, &column);
    } else if (is(order, "infinite")) {
        double numbers[] = {1.0, 1.0 / (double)(order.len - order.len)};
        curvary_column column = {0};
        column.size = whole;
        column.quantity = TEXT("time");
        column.unit = TEXT("s");
        column.count = 2;
        column.numbers = numbers;
        sink->begin_run(sink->host, NOTHING, NOWHERE);
        sink->axis(sink->host, &column);
    } else if (is(order, "flood")) {
        while (sink->remark(sink->host, CURVARY_NOTE, TEXT("flood"), TEXT("more and more"), NOWHERE) == 0) {
        }
    } else if (is(order, "thread")) {
        pthread_t thread;
        kept = sink;
        if (pthread_create(&thread, NULL, call_aside, NULL) != 0) return 7;
        pthread_join(thread, NULL);
    } else if (is(order, "go-on")) {
        /* A sink that says stop is not obeyed. */
        for (int i = 0; i < 1000; i++) sink->end_run(sink->host);
    } else if (is(order, "status")) {
        return 42;
    } else if (is(order, "not-mine")) {
        return CURVARY_NOT_MINE;
    } else if (is(order, "nothing")) {
        return CURVARY_DONE;
    } else if (is(order, "change-body")) {
        memset((char *)(uintptr_t)source->body.at, '9', source->body.len);
        return good(sink, 2, x, y, whole);
    } else {
        return good(sink, 2, x, y, whole);
    }
    return good(sink, 2, x, y, whole), CURVARY_DONE;
}

#ifdef WRONG_SYMBOL
#define ENTRY curvary_reader_v0
CURVARY_EXPORT const curvary_reader *curvary_reader_v0(void);
#else
#define ENTRY curvary_reader_v1
#endif

#ifndef READER_CONTRACT
#define READER_CONTRACT CURVARY_CONTRACT
#endif
#ifndef READER_SIZE
#define READER_SIZE sizeof(curvary_reader)
#endif
#ifndef READER_VERSION
#define READER_VERSION "1"
#endif

const curvary_reader *ENTRY(void) {
    static const curvary_reader reader = {READER_SIZE, READER_CONTRACT, {"misbehaving", 11},
                                          {READER_VERSION, sizeof(READER_VERSION) - 1}, read_file};
#ifdef HANG_AT_LOAD
    for (;;) sleep(1);
#endif
#ifdef NO_READER
    return NULL;
#endif
    return &reader;
}
