/*
 * An example plugin in C, for an invented text form: pairs "x'y" on boards, each closed by the count of its pegs.
 *
 *   PEGBOARD 2
 *   !material betanin in citrate
 *   !cell 1 cm
 *   board nm / A
 *   400'0.1200 405'0.1311 410'0.1502
 *   pegs 3
 *
 * Build: cc -std=c99 -O2 -Wall -Wextra -fPIC -shared -I../include -o libpegboard.so pegboard.c
 */
#include "curvary_reader.h"

#include <stdlib.h>
#include <string.h>

#define TEXT(literal) ((curvary_text){(literal), sizeof(literal) - 1})
#define NOTHING ((curvary_text){NULL, 0})
#define NOWHERE ((curvary_span){0, 0})

/* The cells of the board that is open. */
struct board {
    curvary_text *x, *y;
    size_t count, room;
    int open;
};

struct job {
    const curvary_source *source;
    const curvary_sink *sink;
    struct board board;
};

static int is(curvary_text text, const char *word) {
    return text.len == strlen(word) && memcmp(text.at, word, text.len) == 0;
}

static int begins(curvary_text text, const char *word) {
    size_t len = strlen(word);
    return text.len >= len && memcmp(text.at, word, len) == 0;
}

static curvary_text without(curvary_text text, size_t front) {
    text.at += front;
    text.len -= front;
    while (text.len > 0 && *text.at == ' ') {
        text.at++;
        text.len--;
    }
    return text;
}

/* Where a text that is part of the body stands. */
static curvary_span place(const struct job *job, curvary_text text) {
    curvary_span span;
    span.start = (uint64_t)(text.at - job->source->body.at);
    span.end = span.start + text.len;
    return span;
}

static int remark(const struct job *job, uint32_t severity, const char *code, const char *message, curvary_text at) {
    curvary_text said_code = {code, strlen(code)}, said = {message, strlen(message)};
    return job->sink->remark(job->sink->host, severity, said_code, said, place(job, at));
}

static int add(struct board *board, curvary_text x, curvary_text y) {
    if (board->count == board->room) {
        size_t room = board->room == 0 ? 64 : board->room * 2;
        curvary_text *more_x = realloc(board->x, room * sizeof *more_x);
        if (more_x != NULL) board->x = more_x;
        curvary_text *more_y = realloc(board->y, room * sizeof *more_y);
        if (more_y != NULL) board->y = more_y;
        if (more_x == NULL || more_y == NULL) return -1;
        board->room = room;
    }
    board->x[board->count] = x;
    board->y[board->count] = y;
    board->count++;
    return 0;
}

/* A line of pairs. What is no pair is told and left out. */
static int pairs(struct job *job, curvary_text line) {
    while (line.len > 0) {
        const char *blank = memchr(line.at, ' ', line.len);
        curvary_text pair = {line.at, blank == NULL ? line.len : (size_t)(blank - line.at)};
        const char *peg = memchr(pair.at, '\'', pair.len);
        if (peg == NULL) {
            if (remark(job, CURVARY_WARNING, "no-peg", "no pair `x'y`; it was left out", pair) != 0) return 1;
        } else {
            curvary_text x = {pair.at, (size_t)(peg - pair.at)};
            curvary_text y = {peg + 1, pair.len - x.len - 1};
            if (add(&job->board, x, y) != 0) return -1;
        }
        line = without(line, pair.len);
    }
    return 0;
}

/* The number that a line ends with; -1 where there is none. */
static long count_of(curvary_text text) {
    long count = 0;
    if (text.len == 0 || text.len > 9) return -1;
    for (size_t i = 0; i < text.len; i++) {
        if (text.at[i] < '0' || text.at[i] > '9') return -1;
        count = count * 10 + (text.at[i] - '0');
    }
    return count;
}

/* Hands over the board that is open. `line` is the one that closes it. */
static int close_board(struct job *job, curvary_text line) {
    struct board *board = &job->board;
    curvary_column x = {0}, y = {0};
    curvary_curve curve = {0};
    long count = begins(line, "pegs ") ? count_of(without(line, 5)) : -1;
    if (count != (long)board->count &&
        remark(job, CURVARY_WARNING, "pegs-missing", "the board is not closed with the count of its pegs", line) != 0)
        return 1;
    x.size = y.size = sizeof x;
    curve.size = sizeof curve;
    x.count = y.count = board->count;
    x.quantity = TEXT("wavelength");
    x.unit = TEXT("nm");
    x.cells = board->x;
    y.quantity = TEXT("absorbance");
    y.cells = board->y;
    curve.column = &y;
    if (job->sink->axis(job->sink->host, &x) != 0 || job->sink->curve(job->sink->host, &curve) != 0) return 1;
    board->count = 0;
    board->open = 0;
    return job->sink->end_run(job->sink->host);
}

static int key(struct job *job, curvary_text line) {
    /* What the form calls it, and what the trade does. */
    static const char *const keys[][2] = {{"!material ", "sample"},      {"!cell ", "path length"},
                                          {"!warm ", "temperature"},     {"!bench ", "instrument"},
                                          {"!day ", "date"},             {"!by ", "operator"}};
    for (size_t i = 0; i < sizeof keys / sizeof keys[0]; i++) {
        if (begins(line, keys[i][0])) {
            curvary_text name = {keys[i][1], strlen(keys[i][1])};
            return job->sink->claim(job->sink->host, name, without(line, strlen(keys[i][0])), NOWHERE);
        }
    }
    return remark(job, CURVARY_NOTE, "key-unknown", "a key that this plugin does not know", line);
}

static int lines(struct job *job) {
    curvary_text rest = job->source->body, line = rest;
    int begun = 0, stop = 0;
    while (rest.len > 0 && stop == 0) {
        const char *end = memchr(rest.at, '\n', rest.len);
        size_t len = end == NULL ? rest.len : (size_t)(end - rest.at);
        line.at = rest.at;
        line.len = len > 0 && rest.at[len - 1] == '\r' ? len - 1 : len;
        rest.at += end == NULL ? len : len + 1;
        rest.len -= end == NULL ? len : len + 1;
        if (line.len == 0 || begins(line, "PEGBOARD ")) continue;
        if (!begun) {
            stop = job->sink->begin_run(job->sink->host, NOTHING, place(job, line));
            begun = 1;
        }
        if (stop == 0 && begins(line, "!")) {
            stop = key(job, line);
        } else if (stop == 0 && begins(line, "board")) {
            if (!is(line, "board nm / A"))
                stop = remark(job, CURVARY_ERROR, "board-unknown", "expected `board nm / A`", line);
            else if (job->board.open)
                stop = remark(job, CURVARY_ERROR, "board-open", "the board before was not closed", line);
            else
                job->board.open = 1;
        } else if (stop == 0 && !job->board.open) {
            stop = remark(job, CURVARY_WARNING, "outside", "a line outside a board was left out", line);
        } else if (stop == 0 && begins(line, "pegs")) {
            stop = close_board(job, line);
            begun = 0;
        } else if (stop == 0) {
            stop = pairs(job, line);
        }
    }
    if (stop == 0 && begun) stop = close_board(job, line);
    return stop;
}

static int32_t read_file(const curvary_source *source, const curvary_sink *sink) {
    struct job job = {source, sink, {NULL, NULL, 0, 0, 0}};
    int stop;
    if (!begins(source->body, "PEGBOARD 2")) return CURVARY_NOT_MINE;
    stop = lines(&job);
    free(job.board.x);
    free(job.board.y);
    /* A sink that wants no more knows why; only a lack of memory is a failure of ours. */
    return stop < 0 ? stop : CURVARY_DONE;
}

const curvary_reader *curvary_reader_v1(void) {
    static const curvary_reader reader = {sizeof(curvary_reader), CURVARY_CONTRACT, {"pegboard", 8}, {"1", 1}, read_file};
    return &reader;
}
