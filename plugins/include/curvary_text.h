/*
 * Helpers for readers of text forms, to be used or not. C99; also C++11. No part of the contract: copy it, change it.
 *
 * Every text that comes out of these functions is a part of the one that went in, so it carries its place with it.
 */
#ifndef CURVARY_TEXT_H
#define CURVARY_TEXT_H

#include "curvary_reader.h"

#include <string.h>

/* A word of your own, such as the name of a quantity. */
static inline curvary_text curvary_word(const char *word) {
    curvary_text text;
    text.at = word;
    text.len = strlen(word);
    return text;
}

/* No text. */
static inline curvary_text curvary_no_text(void) {
    curvary_text text;
    text.at = NULL;
    text.len = 0;
    return text;
}

/* No place. */
static inline curvary_span curvary_nowhere(void) {
    curvary_span span;
    span.start = 0;
    span.end = 0;
    return span;
}

/* Where a part of the body stands, for remarks. */
static inline curvary_span curvary_place(const curvary_source *source, curvary_text part) {
    curvary_span span;
    span.start = (uint64_t)(part.at - source->body.at);
    span.end = span.start + part.len;
    return span;
}

/* Whether a text begins with a word. */
static inline int curvary_begins(curvary_text text, const char *word) {
    size_t len = strlen(word);
    return text.len >= len && (len == 0 || memcmp(text.at, word, len) == 0);
}

/* Whether a text is this word and nothing else. */
static inline int curvary_is(curvary_text text, const char *word) {
    return text.len == strlen(word) && curvary_begins(text, word);
}

/* Takes a word off the front of a text; gives 0, and takes nothing, where the text does not begin with it. */
static inline int curvary_take(curvary_text *text, const char *word) {
    size_t len = strlen(word);
    if (!curvary_begins(*text, word)) return 0;
    text->at += len;
    text->len -= len;
    return 1;
}

/* Cuts what stands before `mark` off the front of a text, and the mark too; all of it where there is no mark. */
static inline curvary_text curvary_cut(curvary_text *text, const char *mark) {
    curvary_text front, rest = *text;
    front.at = text->at;
    front.len = 0;
    while (rest.len > 0) {
        if (curvary_take(&rest, mark)) {
            *text = rest;
            return front;
        }
        rest.at++;
        rest.len--;
        front.len++;
    }
    text->at = front.at + front.len;
    text->len = 0;
    return front;
}

#endif
