/* An ATmega2560 in simavr with analogue pins, made to be driven from Python by ctypes.
 *
 * simavr knows pins of two states. Here each point has a voltage that moves exponentially to where the
 * circuit around it leads; what that is for a state of drivers and pull-ups is asked of a callback. A pin's
 * register is brought up to date when the program reads it. Shares no code with the firmware. */
#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <simavr/avr_eeprom.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_hex.h>

#include "emulator.h"

#define POINTS 64
#define PORTS 11
#define LOG 4096
#define BYTES 65536

typedef void (*circuit_t)(uint64_t cycle, uint64_t driven, uint64_t high, uint64_t pulled,
                          double volts[POINTS], double rest[POINTS], double tau_s[POINTS]);

typedef struct {
    uint64_t cycle, driven, high, pulled;
} change_t;

static const char port_names[PORTS + 1] = "ABCDEFGHJKL";

typedef struct emulator {
    avr_t *avr;
    circuit_t circuit;
    int points;
    uint8_t point_mask[PORTS]; /* of each port: pins that are points */
    /* What is led to pins that are no points, and what it becomes at a cycle. */
    uint8_t led[PORTS], led_level[PORTS], led_then[PORTS];
    uint64_t led_when[PORTS];
    avr_io_addr_t r_pin[PORTS];
    avr_io_read_t read[PORTS];
    void *param[PORTS];
    avr_io_write_t write[PORTS][3];
    void *write_param[PORTS][3];
    int port_of[POINTS], bit_of[POINTS];
    change_t log[LOG];
    int logged, lost_changes;
    uint64_t driven, high, pulled;
    uint64_t since; /* the cycle of volts */
    double volts[POINTS], rest[POINTS], tau[POINTS], threshold[POINTS];
    double noise_v;
    uint64_t random;
    bool settled;
    uint8_t level[PORTS];
    avr_irq_t *uart;
    bool xon;
    uint8_t out[BYTES];
    uint64_t out_cycle;
    int out_length, in_length, in_at;
    uint8_t in[BYTES];
    uint64_t pin_reads, ever_high, interrupt_began, longest_interrupt, listens_until;
} emulator;

static emulator *the; /* one to a process: simavr's reset keeps globals too */

static double gauss(emulator *e) {
    double sum = 0.0;
    for (int i = 0; i < 12; i++) {
        e->random = e->random * 6364136223846793005ULL + 1442695040888963407ULL;
        sum += (double)(e->random >> 11) / 9007199254740992.0;
    }
    return sum - 6.0;
}

static void move_to(emulator *e, uint64_t cycle) {
    double s = (double)(cycle - e->since) / e->avr->frequency;
    bool settled = true;
    for (int i = 0; i < POINTS; i++) {
        if (e->volts[i] != e->rest[i]) {
            double part = e->tau[i] > 0.0 ? exp(-s / e->tau[i]) : 0.0;
            e->volts[i] = part < 1e-6 ? e->rest[i] : e->rest[i] + (e->volts[i] - e->rest[i]) * part;
            settled = settled && e->volts[i] == e->rest[i];
        }
    }
    e->since = cycle;
    e->settled = settled;
}

static void snapshot(emulator *e, change_t *now) {
    uint8_t *data = e->avr->data;
    now->cycle = e->avr->cycle;
    now->driven = now->high = now->pulled = 0;
    for (int i = 0; i < e->points; i++) {
        avr_io_addr_t pin = e->r_pin[e->port_of[i]];
        uint64_t ddr = data[pin + 1] >> e->bit_of[i] & 1, port = data[pin + 2] >> e->bit_of[i] & 1;
        now->driven |= (ddr & ~port & 1) << i;
        now->high |= (ddr & port) << i;
        now->pulled |= (~ddr & port & 1) << i;
    }
}

static void changed(emulator *e) {
    change_t now;
    snapshot(e, &now);
    change_t *last = e->logged ? &e->log[e->logged - 1] : NULL;
    if (last ? last->driven == now.driven && last->high == now.high && last->pulled == now.pulled
             : e->driven == now.driven && e->high == now.high && e->pulled == now.pulled)
        return;
    e->ever_high |= now.high;
    if (last && last->cycle == now.cycle) {
        *last = now;
    } else if (e->logged < LOG) {
        e->log[e->logged++] = now;
    } else {
        e->lost_changes++;
    }
}

/* simavr tells of a register before it stands, and only where it changes: so the write itself is taken. */
static void write_register(struct avr_t *avr, avr_io_addr_t addr, uint8_t value, void *param) {
    int port = (int)(intptr_t)param / 4, r = (int)(intptr_t)param % 4;
    the->write[port][r](avr, addr, value, the->write_param[port][r]);
    changed(the);
    spi_pins_changed(avr);
}

static void apply(emulator *e, const change_t *now) {
    move_to(e, now->cycle);
    e->driven = now->driven, e->high = now->high, e->pulled = now->pulled;
    e->circuit(now->cycle, e->driven, e->high, e->pulled, e->volts, e->rest, e->tau);
    e->settled = false;
}

static void up_to_date(emulator *e) {
    bool was_settled = e->settled && !e->logged;
    for (int i = 0; i < e->logged; i++)
        apply(e, &e->log[i]);
    e->logged = 0;
    if (was_settled && e->noise_v == 0.0)
        return;
    move_to(e, e->avr->cycle);
    memset(e->level, 0, sizeof e->level);
    for (int i = 0; i < e->points; i++) {
        double v = e->volts[i] + (e->noise_v > 0.0 && fabs(e->volts[i] - e->threshold[i]) < 6.0 * e->noise_v
                                      ? e->noise_v * gauss(e)
                                      : 0.0);
        if (v > e->threshold[i])
            e->level[e->port_of[i]] |= (uint8_t)(1 << e->bit_of[i]);
    }
}

static uint8_t read_pin(struct avr_t *avr, avr_io_addr_t addr, void *param) {
    emulator *e = the;
    int port = (int)(intptr_t)param;
    e->pin_reads++;
    up_to_date(e);
    uint8_t mask = e->point_mask[port];
    uint8_t value = e->read[port] ? e->read[port](avr, addr, e->param[port]) : avr->data[addr];
    value = (uint8_t)((value & ~mask) | (e->level[port] & mask));
    if (e->led_when[port] && avr->cycle >= e->led_when[port]) {
        e->led_level[port] = e->led_then[port];
        e->led_when[port] = 0;
    }
    value = (uint8_t)((value & ~e->led[port]) | (e->led_level[port] & e->led[port]));
    avr->data[addr] = value;
    return value;
}

static void uart_out(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    emulator *e = param;
    if (e->out_length < BYTES)
        e->out[e->out_length++] = (uint8_t)value;
    e->out_cycle = e->avr->cycle;
}

static void uart_xon(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq, (void)value;
    ((emulator *)param)->xon = true;
}

static void uart_xoff(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq, (void)value;
    ((emulator *)param)->xon = false;
}

static void interrupt_runs(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    emulator *e = param;
    if (value) {
        e->interrupt_began = e->avr->cycle;
    } else if (e->avr->cycle - e->interrupt_began > e->longest_interrupt) {
        e->longest_interrupt = e->avr->cycle - e->interrupt_began;
    }
}

static void no_sleep(struct avr_t *avr, avr_cycle_count_t cycles) {
    (void)avr, (void)cycles;
}

static void quiet(avr_t *avr, const int level, const char *format, va_list ap) {
    (void)avr, (void)level, (void)format, (void)ap;
}

/* `pins`: two characters for each point, its port and its bit. */
emulator *emulator_new(const char *hex, const char *pins, circuit_t circuit) {
    uint32_t size, start;
    avr_global_logger_set(quiet);
    uint8_t *code = read_ihex_file(hex, &size, &start);
    avr_t *avr = avr_make_mcu_by_name("atmega2560");
    if (!code || !avr)
        return NULL;
    emulator *e = calloc(1, sizeof *e);
    the = e;
    e->avr = avr;
    e->circuit = circuit;
    e->points = (int)strlen(pins) / 2;
    e->xon = true;
    e->random = 1;
    avr_init(avr);
    avr->frequency = 16000000;
    avr->sleep = no_sleep;
    avr_loadcode(avr, code, size, start);
    avr->codeend = avr->flashend;
    spi_power_on(avr);
    for (int p = 0; p < PORTS; p++) {
        static const avr_io_addr_t at[PORTS] = {0x20, 0x23,  0x26,  0x29,  0x2C, 0x2F,
                                                0x32, 0x100, 0x103, 0x106, 0x109};
        e->r_pin[p] = at[p];
        avr_io_addr_t io = AVR_DATA_TO_IO(at[p]);
        e->read[p] = avr->io[io].r.c;
        e->param[p] = avr->io[io].r.param;
        avr->io[io].r.c = read_pin;
        avr->io[io].r.param = (void *)(intptr_t)p;
        for (int r = 1; r < 3; r++) { /* DDR and PORT */
            e->write[p][r] = avr->io[io + r].w.c;
            e->write_param[p][r] = avr->io[io + r].w.param;
            avr->io[io + r].w.c = write_register;
            avr->io[io + r].w.param = (void *)(intptr_t)(p * 4 + r);
        }
    }
    for (int i = 0; i < e->points; i++) {
        e->port_of[i] = (int)(strchr(port_names, pins[2 * i]) - port_names);
        e->bit_of[i] = pins[2 * i + 1] - '0';
        e->point_mask[e->port_of[i]] |= (uint8_t)(1 << e->bit_of[i]);
        e->threshold[i] = 2.2;
    }
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr_irq_register_notify(avr_get_interrupt_irq(avr, AVR_INT_ANY) + AVR_INT_IRQ_RUNNING, interrupt_runs, e);
    e->uart = avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), uart_out, e);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), uart_xon, e);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XOFF), uart_xoff, e);
    return e;
}

void emulator_input(emulator *e, const uint8_t *data, int length) {
    if (e->in_at == e->in_length)
        e->in_at = e->in_length = 0;
    for (int i = 0; i < length && e->in_length < BYTES; i++)
        e->in[e->in_length++] = data[i];
    e->listens_until = e->avr->cycle + (uint64_t)e->in_length * 2000 + 16000;
}

int emulator_output(emulator *e, uint8_t *to, int room) {
    int n = e->out_length < room ? e->out_length : room;
    memcpy(to, e->out, (size_t)n);
    memmove(e->out, e->out + n, (size_t)(e->out_length - n));
    e->out_length -= n;
    return n;
}

/* Run so many cycles, or until a byte has come out where `until_output`; return simavr's state. */
int emulator_run(emulator *e, uint64_t cycles, int until_output) {
    avr_t *avr = e->avr;
    uint64_t end = avr->cycle + cycles;
    while (avr->cycle < end) {
        while (e->in_at < e->in_length && e->xon)
            avr_raise_irq(e->uart, e->in[e->in_at++]);
        uint64_t left = end - avr->cycle;
        /* An interrupt waits for the end of a stretch; while bytes come in, none may last as long as a byte,
         * or simavr forgets one. */
        uint64_t most = avr->cycle < e->listens_until ? 64 : 400;
        avr->run_cycle_limit = left < most ? left : most;
        int state = avr_run(avr);
        if (state == cpu_Done || state == cpu_Crashed)
            return state;
        if (until_output && e->out_length)
            break;
    }
    return avr->state;
}

uint64_t emulator_cycle(emulator *e) {
    return e->avr->cycle;
}
int emulator_waiting(emulator *e) {
    return e->in_length - e->in_at;
}
uint64_t emulator_ever_high(emulator *e) {
    return e->ever_high;
}
int emulator_lost(emulator *e) {
    return e->lost_changes;
}
void emulator_reset(emulator *e) {
    e->in_at = e->in_length = 0;
    avr_reset(e->avr);
    changed(e);
    spi_pins_changed(e->avr);
}
void emulator_thresholds(emulator *e, const double *volts, double noise_v, uint64_t seed) {
    memcpy(e->threshold, volts, sizeof e->threshold);
    e->noise_v = noise_v;
    e->random = seed * 2 + 1;
    e->settled = false;
}
/* The circuit has changed under the same drivers: ask it anew. */
void emulator_touch(emulator *e) {
    change_t now;
    up_to_date(e);
    snapshot(e, &now);
    apply(e, &now);
}
/* Bring the circuit up to this moment. */
void emulator_now(emulator *e) {
    up_to_date(e);
}
/* What leads to pins of a port that are no points: level now, and `then` from a cycle on, 0 for never. */
void emulator_lead(emulator *e, int port, uint8_t mask, uint8_t level, uint8_t then, uint64_t when) {
    e->led[port] |= mask;
    e->led_level[port] = (uint8_t)((e->led_level[port] & ~mask) | (level & mask));
    e->led_then[port] = (uint8_t)((e->led_level[port] & ~mask) | (then & mask));
    e->led_when[port] = when;
}
/* driven, high and pulled, as the registers stand. */
void emulator_pins(emulator *e, uint64_t *three) {
    change_t now;
    snapshot(e, &now);
    three[0] = now.driven, three[1] = now.high, three[2] = now.pulled;
}
uint8_t emulator_data(emulator *e, int address) {
    return e->avr->data[address];
}
uint64_t emulator_longest_interrupt(emulator *e) {
    return e->longest_interrupt;
}
void emulator_flash(emulator *e, uint32_t address, uint16_t word) {
    e->avr->flash[address] = (uint8_t)word;
    e->avr->flash[address + 1] = (uint8_t)(word >> 8);
}
void *emulator_chip(emulator *e) {
    return e->avr;
}
uint32_t emulator_pc(emulator *e) {
    return e->avr->pc;
}
void emulator_eeprom(emulator *e, uint8_t *bytes, int size, int set) {
    avr_eeprom_desc_t d = {.ee = bytes, .offset = 0, .size = (uint32_t)size};
    if (set) {
        avr_ioctl(e->avr, AVR_IOCTL_EEPROM_SET, &d);
    } else {
        d.ee = NULL;
        avr_ioctl(e->avr, AVR_IOCTL_EEPROM_GET, &d);
        memcpy(bytes, d.ee, (size_t)size);
    }
}
