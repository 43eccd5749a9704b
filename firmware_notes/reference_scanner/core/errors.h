/* Refusals, and the queue of errors. Texts are in flash. */
#ifndef ERRORS_H
#define ERRORS_H

#include "text.h"

/* Put the refusal in place of the answer and into the queue. */
void refuse(out_t *out, int16_t code, const char *flash_text);
/* Queue an error; the last place holds the overflow. */
void errors_add(int16_t code, const char *flash_text);
/* Take the oldest error and write it. */
void errors_next(out_t *out);
void errors_clear(void);

#endif
