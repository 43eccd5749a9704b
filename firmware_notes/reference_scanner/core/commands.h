/* The command set: one body in, one answer out. Lines, checks and sequence are the link's business. */
#ifndef COMMANDS_H
#define COMMANDS_H

#include "text.h"

typedef enum { THEN_NOTHING, THEN_CLOSE, THEN_RATE } then_t;

typedef struct {
    uint32_t lines;
    uint32_t dropped;
    uint32_t repeated;
    bool open;
} link_state_t;

/* Forget everything, as at power-on. */
void commands_power_on(void);
/* Release every point and end a watch. */
void commands_release(void);
/* Run one command and write its answer's body into `out`, which is empty. `frame` is what a line's frame adds
 * to its body. What happens to the line itself after the reply is returned, with the rate in `*rate`. */
then_t commands_run(word_t body, uint8_t frame, const link_state_t *link, out_t *out, uint32_t *rate);
/* Whether a body's header opens a link. */
bool commands_opens(word_t body, word_t *nonce);
/* Refuse an opening whose nonce is none. */
void commands_refuse_nonce(out_t *out);

#endif
