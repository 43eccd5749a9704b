/* SPI expanders of the common 16-bit kind around the emulated chip: registers, and pins with voltages.
 *
 * From the data sheet of the MCP23S17: a transfer is an opcode, a register, and bytes for it and those that
 * follow; IODIR 1 is an input, GPPU pulls inputs up, GPIO reads the pins whatever their direction, OLAT is
 * what outputs put out. The hardware address is off, as after a reset. Each pin's voltage moves exponentially
 * to where the circuit leads, which a callback is asked for at every change. Shares no code with the
 * firmware. */
#include <math.h>
#include <string.h>

#include "emulator.h"

#define CHIPS 32
#define PINS 16
#define POINTS (CHIPS * PINS)
#define REGISTERS 22
enum { IODIR = 0, IPOL = 2, IOCON = 10, GPPU = 12, GPIO = 18, OLAT = 20 };
enum { GOOD, GONE, DEAF };

/* Of each point: driven low 1, driven high 2, pulled up 4. */
typedef void (*circuit_t)(const uint8_t state[POINTS], double volts[POINTS], double rest[POINTS],
                          double tau_s[POINTS]);

static struct {
    uint8_t reg[REGISTERS], at, opcode;
    int taken, fault;
} chip[CHIPS];
static int chips;
static avr_t *avr_of;
static circuit_t circuit;
static bool in_reset;
static uint8_t state[POINTS];
static bool ever_high;
static uint64_t since;
static double volts[POINTS], rest[POINTS], tau[POINTS], threshold[POINTS];
static int reset_ddr, reset_bit;

static void move(void) {
    double s = (double)(avr_of->cycle - since) / avr_of->frequency;
    since = avr_of->cycle;
    for (int i = 0; i < chips * PINS; i++) {
        if (volts[i] != rest[i]) {
            double part = tau[i] > 0.0 ? exp(-s / tau[i]) : 0.0;
            volts[i] = part < 1e-6 ? rest[i] : rest[i] + (volts[i] - rest[i]) * part;
        }
    }
}

static void ask(void) {
    move();
    circuit(state, volts, rest, tau);
}

static void changed(void) {
    uint8_t now[POINTS] = {0};
    for (int c = 0; c < chips; c++) {
        for (int i = 0; i < PINS && chip[c].fault != GONE; i++) {
            int byte = i / 8, bit = i % 8;
            bool in = chip[c].reg[IODIR + byte] >> bit & 1, up = chip[c].reg[GPPU + byte] >> bit & 1;
            bool high = chip[c].reg[OLAT + byte] >> bit & 1;
            now[c * PINS + i] = (uint8_t)(in ? (up ? 4 : 0) : high ? 2 : 1);
            ever_high = ever_high || (!in && high);
        }
    }
    if (memcmp(now, state, sizeof now) != 0) {
        memcpy(state, now, sizeof now);
        ask();
    }
}

static void defaults(int c) {
    memset(chip[c].reg, 0, REGISTERS);
    chip[c].reg[IODIR] = chip[c].reg[IODIR + 1] = 0xFF;
}

static uint8_t read_register(int c, int reg) {
    if (reg != GPIO && reg != GPIO + 1) {
        return chip[c].reg[reg];
    }
    move();
    uint8_t level = 0;
    for (int bit = 0; bit < 8; bit++) {
        int point = c * PINS + (reg - GPIO) * 8 + bit;
        level = (uint8_t)(level | (volts[point] > threshold[point]) << bit);
    }
    return level ^ chip[c].reg[IPOL + reg - GPIO];
}

static void write_register(int c, int reg, uint8_t value) {
    if (reg == GPIO || reg == GPIO + 1) {
        reg += OLAT - GPIO;
    }
    if (reg != 14 && reg != 15 && reg != 16 && reg != 17) { /* INTF and INTCAP only tell */
        chip[c].reg[reg] = value;
    }
    changed();
}

static int exchange(void *self, int what, int value) {
    int c = (int)(intptr_t)self;
    if (what == SPI_SELECTED) {
        chip[c].taken = 0;
        return -1;
    }
    if (what == SPI_DESELECTED || in_reset || chip[c].fault != GOOD) {
        return -1;
    }
    int taken = chip[c].taken++;
    if (taken == 0) {
        chip[c].opcode = (uint8_t)value;
        return -1;
    }
    if ((chip[c].opcode & 0xFE) != 0x40) {
        return -1;
    }
    if (taken == 1) {
        chip[c].at = (uint8_t)(value % REGISTERS);
        return -1;
    }
    int reg = chip[c].at;
    chip[c].at = (uint8_t)((reg + 1) % REGISTERS);
    if (chip[c].opcode & 1) {
        return read_register(c, reg);
    }
    write_register(c, reg, (uint8_t)value);
    return -1;
}

void expanders_off(void) {
    chips = 0;
}

/* The reset line has a resistor down: it is up only while an output holds it so. */
void expanders_pins_changed(avr_t *avr) {
    if (chips == 0) {
        return;
    }
    bool up = avr->data[reset_ddr] >> reset_bit & avr->data[reset_ddr + 1] >> reset_bit & 1;
    in_reset = !up;
    if (in_reset) {
        for (int c = 0; c < chips; c++) {
            defaults(c);
        }
        changed();
    }
}

/* `selects`: for each chip the address of its select's DDR and the bit, as two numbers; then those of reset.
 */
void emulator_expanders(avr_t *avr, int count, const int *selects, circuit_t asked,
                        const double *thresholds) {
    avr_of = avr;
    chips = count;
    circuit = asked;
    memset(chip, 0, sizeof chip);
    memset(state, 0, sizeof state);
    ever_high = false;
    since = avr->cycle;
    for (int i = 0; i < count * PINS; i++) {
        threshold[i] = thresholds[i];
        volts[i] = rest[i] = 0.0;
    }
    for (int c = 0; c < count; c++) {
        defaults(c);
        emulator_spi_attach(selects[2 * c], selects[2 * c + 1], exchange, (void *)(intptr_t)c);
    }
    reset_ddr = selects[2 * count];
    reset_bit = selects[2 * count + 1];
    ask();
    expanders_pins_changed(avr);
}
/* The circuit has changed under the same drivers. */
void emulator_expanders_touch(void) {
    ask();
}
/* GONE: without supply. DEAF: its select is open, its pins stay as they are. GOOD: back, from its reset on,
 * if it was gone. A chip that is good and told so again has lost its supply for a moment. */
void emulator_expander_fault(int c, int fault) {
    if (chip[c].fault != DEAF && fault != DEAF) {
        defaults(c);
    }
    chip[c].fault = fault;
    changed();
}
void emulator_expanders_state(uint8_t *to) {
    memcpy(to, state, (size_t)(chips * PINS));
}
int emulator_expanders_ever_high(void) {
    return ever_high;
}
