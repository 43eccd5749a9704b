#include "text.h"

#include <math.h>
#include <string.h>

#include "flash.h"

void put_char(out_t *out, char c) {
    if (out->length < out->room) {
        out->at[out->length++] = c;
    } else {
        out->over = true;
    }
}

void put_text(out_t *out, const char *flash_text) {
    for (char c = (char)flash_u8(flash_text); c != 0; c = (char)flash_u8(++flash_text)) {
        put_char(out, c);
    }
}

void put_u64(out_t *out, uint64_t value) {
    char digits[20];
    uint8_t count = 0;
    do {
        digits[count++] = (char)('0' + (char)(value % 10U));
        value /= 10U;
    } while (value != 0 && count < sizeof digits);
    while (count > 0) {
        put_char(out, digits[--count]);
    }
}

void put_u32(out_t *out, uint32_t value) {
    put_u64(out, value);
}

static char hex_of(uint8_t nibble) {
    return (char)(nibble < 10U ? '0' + nibble : 'A' + nibble - 10);
}

void put_hex8(out_t *out, uint8_t value) {
    put_char(out, hex_of(value >> 4));
    put_char(out, hex_of(value & 15U));
}

void put_hex32(out_t *out, uint32_t value) {
    put_hex8(out, (uint8_t)(value >> 24));
    put_hex8(out, (uint8_t)(value >> 16));
    put_hex8(out, (uint8_t)(value >> 8));
    put_hex8(out, (uint8_t)value);
}

void put_set(out_t *out, const points_t *set) {
    bool begun = false;
    put_char(out, '#');
    put_char(out, 'H');
    for (uint8_t i = (uint8_t)(SET_BYTES_HERE * 2U); i > 0; i--) {
        uint8_t byte = set->byte[(i - 1U) >> 1];
        uint8_t nibble = (i - 1U) & 1U ? byte >> 4 : byte & 15U;
        begun = begun || nibble != 0 || i == 1U;
        if (begun) {
            put_char(out, hex_of(nibble));
        }
    }
}

/* Scale |value| = mantissa * 2^exponent to 1 <= x < 10 with the mantissa's top bit kept near bit 59, so that
 * each of at most 45 steps errs by 2^-59 or less: the sixth digit is rounded rightly but for what lies within
 * 1e-7 of half a unit. */
static uint32_t six_digits(uint64_t mantissa, int16_t exponent, int8_t *ten) {
    int8_t tens = 0;
    for (; mantissa < (1ULL << 59); mantissa <<= 1) {
        exponent--;
    }
    while (exponent > -56 || (exponent == -56 && mantissa >= 10ULL << 56)) { /* 10 or more */
        mantissa /= 10U;
        tens++;
        for (; mantissa < (1ULL << 59); mantissa <<= 1) {
            exponent--;
        }
    }
    while (exponent < -59) { /* below 1 */
        mantissa *= 10U;
        tens--;
        for (; mantissa >= (1ULL << 60); mantissa >>= 1) {
            exponent++;
        }
    }
    mantissa >>= (uint8_t)(-56 - exponent);         /* now in units of 2^-56: 1 to 16 */
    uint64_t scaled = (mantissa >> 14) * 100000ULL; /* of 2^-42 */
    uint32_t digits = (uint32_t)((scaled + (1ULL << 41)) >> 42);
    if (digits >= 1000000UL) {
        digits = (digits + 5U) / 10U;
        tens++;
    }
    *ten = tens;
    return digits;
}

void put_number(out_t *out, float value) {
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    uint8_t biased = (uint8_t)(bits >> 23);
    uint32_t fraction = bits & 0x7FFFFFUL;
    if (biased == 255U) {
        if (fraction != 0) {
            put_text(out, TEXT("9.91E37"));
            return;
        }
        put_text(out, bits >> 31 ? TEXT("-9.9E37") : TEXT("9.9E37"));
        return;
    }
    if (bits >> 31) {
        put_char(out, '-');
    }
    if (biased == 0 && fraction == 0) {
        put_text(out, TEXT("0.00000E0"));
        return;
    }
    int8_t ten = 0;
    uint64_t mantissa = biased == 0 ? fraction : fraction | 0x800000UL;
    uint32_t digits = six_digits(mantissa, (int16_t)((biased == 0 ? 1 : biased) - 150), &ten);
    uint32_t unit = 100000UL;
    for (uint8_t i = 0; i < 6U; i++, unit /= 10U) {
        put_char(out, (char)('0' + (char)(digits / unit % 10U)));
        if (i == 0) {
            put_char(out, '.');
        }
    }
    put_char(out, 'E');
    if (ten < 0) {
        put_char(out, '-');
    }
    put_u32(out, (uint32_t)(ten < 0 ? -ten : ten));
}

bool next_word(word_t *rest, word_t *word) {
    if (rest->at == 0) {
        return false;
    }
    word->at = rest->at;
    word->length = 0;
    while (word->length < rest->length && word->at[word->length] != ',') {
        word->length++;
    }
    if (word->length == rest->length) {
        rest->at = 0;
        rest->length = 0;
    } else {
        rest->at += word->length + 1U;
        rest->length = (uint16_t)(rest->length - word->length - 1U);
    }
    return true;
}

uint8_t hex_digit(char c) {
    if (c >= '0' && c <= '9') {
        return (uint8_t)(c - '0');
    }
    if (c >= 'A' && c <= 'F') {
        return (uint8_t)(c - 'A' + 10);
    }
    if (c >= 'a' && c <= 'f') {
        return (uint8_t)(c - 'a' + 10);
    }
    return 16;
}

set_result_t read_set(word_t word, points_t *set) {
    memset(set, 0, sizeof *set);
    if (word.length < 3U || word.at[0] != '#' || (word.at[1] != 'H' && word.at[1] != 'h')) {
        return SET_NO_SET;
    }
    set_result_t result = SET_GOOD;
    uint16_t place = 0; /* of the nibble, from the right */
    for (uint16_t i = word.length; i > 2U; i--, place++) {
        uint8_t nibble = hex_digit(word.at[i - 1U]);
        if (nibble > 15U) {
            return SET_NO_SET;
        }
        if (place >= SET_BYTES_HERE * 2U) {
            result = nibble != 0 ? SET_TOO_FAR : result;
        } else if (place & 1U) {
            set->byte[place >> 1] = (uint8_t)(set->byte[place >> 1] | (nibble << 4));
        } else {
            set->byte[place >> 1] = nibble;
        }
    }
    return result;
}

/* Digits with at most one point from `*i` on, as mantissa and the power of ten that its last digit has. */
static bool read_mantissa(word_t word, uint16_t *i, float *mantissa, int16_t *ten) {
    bool digits = false;
    bool point = false;
    for (; *i < word.length; (*i)++) {
        char c = word.at[*i];
        if (c == '.' && !point) {
            point = true;
            continue;
        }
        if (c < '0' || c > '9') {
            break;
        }
        if (*mantissa < 1.0e30F) {
            *mantissa = *mantissa * 10.0F + (float)(c - '0');
            *ten = (int16_t)(*ten - (point ? 1 : 0));
        } else {
            *ten = (int16_t)(*ten + (point ? 0 : 1));
        }
        digits = true;
    }
    return digits;
}

/* E, a sign, digits, to the word's end. */
static bool read_exponent(word_t word, uint16_t i, int16_t *ten) {
    if (word.at[i] != 'E' && word.at[i] != 'e') {
        return false;
    }
    i++;
    bool down = i < word.length && word.at[i] == '-';
    i = (uint16_t)(i + (i < word.length && (word.at[i] == '-' || word.at[i] == '+') ? 1U : 0U));
    if (i == word.length) {
        return false;
    }
    int16_t exponent = 0;
    for (; i < word.length && word.at[i] >= '0' && word.at[i] <= '9'; i++) {
        exponent = (int16_t)(exponent < 1000 ? exponent * 10 + (word.at[i] - '0') : 1000);
    }
    *ten = (int16_t)(*ten + (down ? -exponent : exponent));
    return i == word.length;
}

bool read_number(word_t word, float *value) {
    uint16_t i = word.length > 0 && word.at[0] == '+' ? 1U : 0U;
    float mantissa = 0.0F;
    int16_t ten = 0;
    if (!read_mantissa(word, &i, &mantissa, &ten) || (i < word.length && !read_exponent(word, i, &ten))) {
        return false;
    }
    for (; ten > 0 && mantissa < 1.0e37F && mantissa > 0.0F; ten--) {
        mantissa *= 10.0F;
    }
    for (; ten < 0 && mantissa > 0.0F; ten++) {
        mantissa /= 10.0F;
    }
    *value = mantissa;
    return ten <= 0 || !(mantissa > 0.0F);
}

bool same_text(word_t word, const char *flash_text) {
    uint16_t i = 0;
    for (char c = (char)flash_u8(flash_text); c != 0; c = (char)flash_u8(flash_text + i)) {
        char mine = i < word.length ? word.at[i] : (char)0;
        if (mine >= 'a' && mine <= 'z') {
            mine = (char)(mine - 'a' + 'A');
        }
        if (mine != c) {
            return false;
        }
        i++;
    }
    return i == word.length;
}
