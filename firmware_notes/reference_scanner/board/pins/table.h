/* Which pin is which point, on the common board with an ATmega2560.
 *
 * A bank of eight points is a whole port, or fragments of several. Left out: PE0 and PE1 (the UART), PB7
 * (D13, which carries a lamp), PD0 and PD1 (D21 and D20, which carry the two-wire bus's pull-ups on most
 * boards), and PG5 (D4), which is spare.
 *
 * | points  | pins of the chip | as the board prints them                          |
 * | 1 - 8   | PA0 - PA7        | 22 23 24 25 26 27 28 29                           |
 * | 9 - 16  | PC0 - PC7        | 37 36 35 34 33 32 31 30                           |
 * | 17 - 24 | PL0 - PL7        | 49 48 47 46 45 44 43 42                           |
 * | 25 - 32 | PF0 - PF7        | A0 A1 A2 A3 A4 A5 A6 A7                           |
 * | 33 - 40 | PK0 - PK7        | A8 A9 A10 A11 A12 A13 A14 A15                     |
 * | 41 - 47 | PB0 - PB6        | 53 52 51 50 10 11 12                              |
 * | 48      | PD7              | 38                                                |
 * | 49 - 54 | PH0 PH1 PH3-PH6  | 17 16 6 7 8 9                                     |
 * | 55 - 56 | PJ0 PJ1          | 15 14                                             |
 * | 57 - 58 | PD2 PD3          | 19 18                                             |
 * | 59 - 61 | PE3 PE4 PE5      | 5 2 3                                             |
 * | 62 - 64 | PG0 PG1 PG2      | 41 40 39                                          |
 */
#ifndef TABLE_H
#define TABLE_H

#define MASK_B 0x7FU
#define MASK_D 0x8CU
#define MASK_E 0x38U
#define MASK_G 0x07U
#define MASK_H 0x7BU
#define MASK_J 0x03U

/* The same table for what goes by one point at a time: the port's PIN register, and the bit. DDR and PORT are
 * the two registers behind PIN, on every port of this chip. */
/* clang-format off */
#define EACH_POINT(P)                                               \
    P(A, 0) P(A, 1) P(A, 2) P(A, 3) P(A, 4) P(A, 5) P(A, 6) P(A, 7) \
    P(C, 0) P(C, 1) P(C, 2) P(C, 3) P(C, 4) P(C, 5) P(C, 6) P(C, 7) \
    P(L, 0) P(L, 1) P(L, 2) P(L, 3) P(L, 4) P(L, 5) P(L, 6) P(L, 7) \
    P(F, 0) P(F, 1) P(F, 2) P(F, 3) P(F, 4) P(F, 5) P(F, 6) P(F, 7) \
    P(K, 0) P(K, 1) P(K, 2) P(K, 3) P(K, 4) P(K, 5) P(K, 6) P(K, 7) \
    P(B, 0) P(B, 1) P(B, 2) P(B, 3) P(B, 4) P(B, 5) P(B, 6) P(D, 7) \
    P(H, 0) P(H, 1) P(H, 3) P(H, 4) P(H, 5) P(H, 6) P(J, 0) P(J, 1) \
    P(D, 2) P(D, 3) P(E, 3) P(E, 4) P(E, 5) P(G, 0) P(G, 1) P(G, 2)
/* clang-format on */

/* The banks of a set, put where the ports have them, and back. */
#define AT_B(set) ((set)->byte[5] & MASK_B)
#define AT_D(set) ((uint8_t)(((set)->byte[5] & 0x80U) | (((set)->byte[7] & 0x03U) << 2)))
#define AT_E(set) ((uint8_t)(((set)->byte[7] & 0x1CU) << 1))
#define AT_G(set) ((uint8_t)((set)->byte[7] >> 5))
#define AT_H(set) ((uint8_t)(((set)->byte[6] & 0x03U) | (((set)->byte[6] & 0x3CU) << 1)))
#define AT_J(set) ((uint8_t)((set)->byte[6] >> 6))
#define PUT_BANKS(low, b, d, e, g, h, j)                                                                     \
    (low)->byte[5] = (uint8_t) ~(((b)&MASK_B) | ((d)&0x80U));                                                \
    (low)->byte[6] = (uint8_t) ~(((h)&0x03U) | (((h) >> 1) & 0x3CU) | (((j)&0x03U) << 6));                   \
    (low)->byte[7] = (uint8_t) ~((((d) >> 2) & 0x03U) | (((e) >> 1) & 0x1CU) | (((g)&0x07U) << 5))

#endif
