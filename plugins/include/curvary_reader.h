/*
 * The contract between curvary and a reader plugin, major version 1. C99.
 *
 * A plugin is a shared library with one exported function, curvary_reader_v1(), and a file plugin.toml beside it that
 * says how its files are told. Copy this header next to your plugin; nothing else of curvary is needed to build it.
 * docs/plugins.md leads from an odd file to a working plugin.
 *
 * Rules, all of them checked:
 *  - The host calls read() with one file at a time. Sink functions may be called only inside read(), on its thread.
 *  - Order: begin_run (claim | question | axis | curve)* end_run, as often as there are runs; remark at any time.
 *  - Memory is borrowed for the length of the call, in both directions: the host copies what it is given and frees
 *    nothing, and nothing that the host gave may be used after read() has returned.
 *  - Texts are UTF-8 and are not terminated. An empty text has len 0; `at` may be NULL then.
 *  - Hand over what stood there, not what you make of it: texts of numbers, keys and units as they are spelled. A text
 *    that points into the body carries its place with it. Never compute, convert or round.
 *  - A sink function that returns other than 0 says: stop, and return from read().
 *  - curvary_text.h beside this header holds a few helpers for cutting texts. It is optional, and no part of the contract.
 *  - Structs with a `size` grow at their end only. Set it to sizeof of the struct as this header has it. Before you use
 *    a member of curvary_sink or curvary_source that a later header added, compare their `size`.
 */
#ifndef CURVARY_READER_H
#define CURVARY_READER_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* The major version of the contract. It is part of the exported function's name. */
#define CURVARY_CONTRACT 1

#if defined(_WIN32)
#define CURVARY_EXPORT __declspec(dllexport)
#elif defined(__GNUC__)
#define CURVARY_EXPORT __attribute__((visibility("default")))
#else
#define CURVARY_EXPORT
#endif

/* A text, or bytes. This struct never changes. */
typedef struct curvary_text {
    const char *at;
    size_t len;
} curvary_text;

/* Bytes of the body, from start up to end. start == end: no place, or the one the text has. This struct never changes. */
typedef struct curvary_span {
    uint64_t start;
    uint64_t end;
} curvary_span;

/* A column as it stood. Give either cells or numbers. */
typedef struct curvary_column {
    uint32_t size;
    uint32_t decimal;             /* the decimal sign of the cells: ',' or '.'; 0 is '.' */
    curvary_text header;          /* what stands above it, as it is spelled; may be empty */
    curvary_text quantity;        /* what it is of: "wavelength", "time", "absorbance", ... "new:NAME" for a quantity of
                                     your own; empty: the header says it, or it is asked */
    curvary_text unit;            /* as it is spelled, or a UCUM code; empty: the header says it, or it is asked */
    size_t count;                 /* how many cells or numbers */
    const curvary_text *cells;    /* as written, one a point; an empty one is no value. NULL with numbers */
    const double *numbers;        /* of a form that holds binary numbers; NaN is no value. NULL with cells */
    const curvary_span *places;   /* the place of each; NULL: cells that point into the body say it themselves */
} curvary_column;

/* A coordinate that stays the same along a curve: the time of a scan. This struct never changes. */
typedef struct curvary_held {
    curvary_text quantity;
    curvary_text unit;
    curvary_text value;           /* as written, with a decimal point */
    curvary_span place;
} curvary_held;

/* A key and its value. This struct never changes. */
typedef struct curvary_pair {
    curvary_text key;
    curvary_text value;
    curvary_span place;           /* of the value */
} curvary_pair;

/* A curve over the axis that was given last; its column is as long as the axis. */
typedef struct curvary_curve {
    uint32_t size;
    uint32_t reserved;            /* 0 */
    curvary_text label;
    const curvary_column *column;
    const curvary_held *held;
    size_t held_count;
    const curvary_pair *claims;   /* said of this curve alone */
    size_t claim_count;
} curvary_curve;

/* An answer that a question has, and what the file says under it. This struct never changes. */
typedef struct curvary_answer {
    curvary_text answer;          /* small letters, digits and hyphens */
    curvary_text says;
} curvary_answer;

/* What only a person can decide. The answer comes back in curvary_source.settled when the file is read again. */
typedef struct curvary_question {
    uint32_t size;
    uint32_t reserved;            /* 0 */
    curvary_text about;           /* your own word for it: small letters, digits and hyphens */
    curvary_text message;
    const curvary_answer *answers; /* 2 to 20, the likeliest first */
    size_t answer_count;
    curvary_span place;
} curvary_question;

/* A question that a person has answered. This struct never changes. */
typedef struct curvary_settled {
    curvary_text about;
    curvary_text answer;
} curvary_settled;

/* Severities of remarks. */
#define CURVARY_NOTE 0u     /* worth knowing */
#define CURVARY_WARNING 1u  /* something was left out or is doubtful; what was read is right */
#define CURVARY_ERROR 2u    /* something could not be read */

/* Where a plugin puts what it finds. Each function returns 0 to go on. */
typedef struct curvary_sink {
    uint32_t size;
    uint32_t reserved;
    void *host;                   /* the first argument of every function */
    /* technique: "spectrum", "time-course", ...; empty: the axes say it. */
    int32_t (*begin_run)(void *host, curvary_text technique, curvary_span place);
    /* place: of the value. */
    int32_t (*claim)(void *host, curvary_text key, curvary_text value, curvary_span place);
    int32_t (*axis)(void *host, const curvary_column *column);
    int32_t (*curve)(void *host, const curvary_curve *curve);
    /* code: your own word for the kind of remark, small letters and hyphens. */
    int32_t (*remark)(void *host, uint32_t severity, curvary_text code, curvary_text message, curvary_span place);
    int32_t (*question)(void *host, const curvary_question *question);
    int32_t (*end_run)(void *host);
} curvary_sink;

/* One file. */
typedef struct curvary_source {
    uint32_t size;
    uint32_t reserved;
    curvary_text name;            /* the path, with '/' between folders; it need not exist */
    curvary_text body;            /* UTF-8 text for `input = "text"`, the bytes of the file for `input = "bytes"` */
    const curvary_settled *settled;
    size_t settled_count;
} curvary_source;

/* What read() returns. */
#define CURVARY_DONE 0      /* what was found is in the sink; no run and a remark is an answer too */
#define CURVARY_NOT_MINE 1  /* not a file of this kind after all; nothing in the sink is used */
                            /* anything else: the plugin failed; nothing in the sink is used */

/* The plugin. */
typedef struct curvary_reader {
    uint32_t size;
    uint32_t contract;            /* CURVARY_CONTRACT */
    curvary_text name;            /* as in plugin.toml */
    curvary_text version;         /* as in plugin.toml */
    int32_t (*read)(const curvary_source *source, const curvary_sink *sink);
} curvary_reader;

/* The one function that the library exports. */
CURVARY_EXPORT const curvary_reader *curvary_reader_v1(void);

#ifdef __cplusplus
}
#endif

#endif
