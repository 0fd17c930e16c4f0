/* The sizes and offsets of the contract, the same as in src/raw.rs. It compiles or it does not hold. */
#include "curvary_reader.h"

#define HOLDS(name, what) typedef char name[(what) ? 1 : -1]

#if UINTPTR_MAX == 0xffffffffffffffffu
HOLDS(text, sizeof(curvary_text) == 16);
HOLDS(span, sizeof(curvary_span) == 16);
HOLDS(column, sizeof(curvary_column) == 88);
HOLDS(column_count, offsetof(curvary_column, count) == 56);
HOLDS(column_places, offsetof(curvary_column, places) == 80);
HOLDS(held, sizeof(curvary_held) == 64);
HOLDS(pair, sizeof(curvary_pair) == 48);
HOLDS(curve, sizeof(curvary_curve) == 64);
HOLDS(curve_claims, offsetof(curvary_curve, claims) == 48);
HOLDS(answer, sizeof(curvary_answer) == 32);
HOLDS(settled, sizeof(curvary_settled) == 32);
HOLDS(question, sizeof(curvary_question) == 72);
HOLDS(question_place, offsetof(curvary_question, place) == 56);
HOLDS(sink, sizeof(curvary_sink) == 72);
HOLDS(sink_end_run, offsetof(curvary_sink, end_run) == 64);
HOLDS(source, sizeof(curvary_source) == 56);
HOLDS(source_settled, offsetof(curvary_source, settled) == 40);
HOLDS(reader, sizeof(curvary_reader) == 48);
HOLDS(reader_read, offsetof(curvary_reader, read) == 40);
#endif

const curvary_reader *curvary_reader_v1(void) { return 0; }
