#include <avr/io.h>
#include <avr/wdt.h>

#define PAINT 0xC5

/* Before anything else: a watchdog that has bitten must not bite again while memory is cleared; and the
 * stack's room is painted, so that its deepest use can be seen. */
void start(void) __attribute__((naked, used, section(".init3")));
void start(void) {
    MCUSR = 0;
    wdt_disable();
    __asm__ volatile("    ldi r30, lo8(_end)\n"
                     "    ldi r31, hi8(_end)\n"
                     "    ldi r24, %0\n"
                     "    ldi r25, hi8(%1 + 1)\n"
                     "1:  st Z+, r24\n"
                     "    cpi r30, lo8(%1 + 1)\n"
                     "    cpc r31, r25\n"
                     "    brne 1b\n" ::"M"(PAINT),
                     "i"(RAMEND)
                     : "r24", "r25", "r30", "r31");
}
