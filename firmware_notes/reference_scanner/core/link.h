/* The device's side of the scanner link: lines, checks, sequence, rates and the times of its rules. */
#ifndef LINK_H
#define LINK_H

#include <stdbool.h>
#include <stdint.h>

/* Start anew, as at power-on. */
void link_power_on(void);
/* Do what is due: take what has come, answer it, let time pass, send a watch's events. Call it over and over.
 */
void link_run(void);
/* Whether there is nothing to do before something comes or time passes. */
bool link_idle(void);

#endif
