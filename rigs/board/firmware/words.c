/* Lines: a verb, its numbers, and `*HH`, the CRC-8 of all before it. Nothing is done for a line whose sum is wrong.
 * A line in answer is never waited for: where there is no room it is left out and counted. */
#include "board.h"
#include <string.h>

#define LINE 48
#define OLDEST_MS 300 /* without a whole period for so long, the capture shows a level */

static char line[LINE];
static uint8_t length;
static bool too_long;
static uint16_t bad, unsent;
static bool streaming = true;
static uint16_t number;

static char text[80];
static uint8_t used;

/* Polynomial x^8 + x^2 + x + 1, start 0: 0xf4 for "123456789". */
uint8_t crc8(const char *from, uint8_t n) {
    uint8_t crc = 0;
    while (n--) {
        crc ^= (uint8_t)*from++;
        for (uint8_t i = 0; i < 8; i++) {
            crc = (crc & 0x80) ? (uint8_t)(crc << 1 ^ 0x07) : (uint8_t)(crc << 1);
        }
    }
    return crc;
}

static void put(char c) {
    if (used < sizeof text - 4) {
        text[used++] = c;
    }
}

static void say(const char *flash) {
    for (char c; (c = (char)pgm_read_byte(flash)) != 0; flash++) {
        put(c);
    }
}
#define SAY(words) say(PSTR(words))

/* `value` with its last `decimals` digits behind a point. */
static void put_number(uint32_t value, uint8_t decimals) {
    char digits[10];
    uint8_t n = 0;
    do {
        digits[n++] = (char)('0' + value % 10);
        value /= 10;
    } while (value || n <= decimals);
    while (n) {
        put(digits[--n]);
        if (n == decimals && n) {
            put('.');
        }
    }
}

static void put_signed(int32_t value) {
    if (value < 0) {
        put('-');
        value = -value;
    }
    put_number((uint32_t)value, 0);
}

static char hex(uint8_t nibble) {
    return (char)(nibble < 10 ? '0' + nibble : 'A' + nibble - 10);
}

static void send(void) {
    uint8_t crc = crc8(text, used);
    text[used++] = '*';
    text[used++] = hex(crc >> 4);
    text[used++] = hex(crc & 15);
    text[used++] = '\n';
    if (!serial_put(text, used)) {
        unsent++;
    }
    used = 0;
}

/* A number of at most `decimals` decimals, in units of the last; false for anything else. Ends at a blank. */
static bool take_number(const char **at, uint8_t decimals, uint32_t *out) {
    uint32_t value = 0;
    uint8_t digits = 0, behind = 0;
    bool point = false;
    for (; **at && **at != ' '; (*at)++) {
        if (**at == '.' && !point) {
            point = true;
        } else if (**at >= '0' && **at <= '9' && digits < 9 && (!point || behind < decimals)) {
            value = value * 10 + (uint32_t)(**at - '0');
            digits++;
            behind += point;
        } else if (**at == '0' && point && behind >= decimals) {
            /* Zeros beyond the last decimal say nothing. */
        } else {
            return false;
        }
    }
    while (digits && behind < decimals) {
        value *= 10;
        behind++;
    }
    *out = value;
    return digits > 0;
}

static bool is(const char *verb) {
    return strcmp_P(line, verb) == 0;
}

/* The rest of the line behind `verb` and a blank; none if it starts otherwise. */
static const char *after(const char *verb) {
    uint8_t n = (uint8_t)strlen_P(verb);
    return strncmp_P(line, verb, n) == 0 && line[n] == ' ' ? line + n + 1 : 0;
}

static void put_flag(const char *name, bool value) {
    say(name);
    put(value ? '1' : '0');
}

static void state(void) {
    struct pump_state now = pump_state();
    SAY("S duty=");
    put_number(pump_read_back(), 2);
    put_flag(PSTR(" on="), now.on);
    put_flag(PSTR(" estop="), now.stop);
    put_flag(PSTR(" tripped="), now.tripped);
}

static void self_test(void) {
    SAY("T reset=");
    put_number(reset_cause(), 0);
    SAY(" supply=");
    put_number(inputs_supply_mv(), 3);
    SAY(" stack=");
    put_number(stack_left(), 0);
    SAY(" lost=");
    put_number(serial_lost(), 0);
    SAY(" bad=");
    put_number(bad, 0);
    SAY(" unsent=");
    put_number(unsent, 0);
}

static uint32_t code_tenths(uint16_t code) {
    return ((uint32_t)code * 50000 + 2048) / 4096;
}

/* The last of each analogue mean, for the loop-back. */
static uint16_t last_mean[4];
static uint16_t seen_duty;

static void loop_back(void) {
    SAY("L duty=");
    put_number(pump_read_back(), 2);
    SAY(" seen=");
    put_number(seen_duty, 2);
    SAY(" u1=");
    put_number(code_tenths(voltage_code(0)), 4);
    SAY(" seen=");
    put_number(last_mean[2], 4);
    SAY(" u2=");
    put_number(code_tenths(voltage_code(1)), 4);
    SAY(" seen=");
    put_number(last_mean[3], 4);
}

static bool voltage(uint8_t channel, const char *rest) {
    uint32_t tenths, within = 0;
    if (!take_number(&rest, 4, &tenths) || tenths > 50000) {
        return false;
    }
    if (*rest == ' ') {
        rest++;
        if (!take_number(&rest, 0, &within) || within > 3600000) {
            return false;
        }
    }
    if (*rest) {
        return false;
    }
    uint16_t code = voltage_set(channel, (uint16_t)tenths, within);
    put('U');
    put((char)('1' + channel));
    put(' ');
    put_number(code_tenths(code), 4);
    if (within) {
        put(' ');
        put_number(within, 0);
    }
    return true;
}

/* Does a line and writes the answer; false if it makes no sense. */
static bool command(void) {
    const char *rest;
    uint32_t value;
    if (is(PSTR("B"))) {
        pump_beat();
        put('B');
    } else if (is(PSTR("S?"))) {
        state();
    } else if ((rest = after(PSTR("D")))) {
        if (!take_number(&rest, 2, &value) || *rest || value > 10000) {
            return false;
        }
        pump_duty((uint16_t)value);
        SAY("D ");
        put_number(pump_read_back(), 2);
    } else if (is(PSTR("OFF"))) {
        pump_off(false);
        SAY("OFF");
    } else if (is(PSTR("ARM"))) {
        if (pump_arm()) {
            SAY("ARM");
        } else {
            SAY("E stop");
        }
    } else if (is(PSTR("V 0")) || is(PSTR("V 1"))) {
        pump_solenoid(line[2] == '1');
        put('V');
        put(' ');
        put(line[2]);
    } else if (is(PSTR("SRC HOST")) || is(PSTR("SRC CTRL"))) {
        pump_source(line[4] == 'C');
        if (pump_state().controller) {
            SAY("SRC CTRL");
        } else {
            SAY("SRC HOST");
        }
    } else if ((rest = after(PSTR("U1")))) {
        return voltage(0, rest);
    } else if ((rest = after(PSTR("U2")))) {
        return voltage(1, rest);
    } else if ((rest = after(PSTR("N")))) {
        if (!take_number(&rest, 3, &value) || *rest || value > 600000 || (value && value < 5000)) {
            return false;
        }
        pulses_set(value);
        SAY("N ");
        put_number(value, 3);
    } else if ((rest = after(PSTR("F")))) {
        if (!take_number(&rest, 0, &value) || *rest || value > 65535 || !pump_frequency((uint16_t)value)) {
            return false;
        }
        SAY("F ");
        put_number(value, 0);
    } else if (is(PSTR("ID?"))) {
        SAY("ID " FIRMWARE);
    } else if (is(PSTR("T?"))) {
        self_test();
    } else if (is(PSTR("L?"))) {
        loop_back();
    } else if (is(PSTR("M 0")) || is(PSTR("M 1"))) {
        streaming = line[2] == '1';
        SAY("M ");
        put(line[2]);
    } else {
        return false;
    }
    return true;
}

static int8_t nibble(char c) {
    if (c >= '0' && c <= '9') {
        return (int8_t)(c - '0');
    }
    return c >= 'A' && c <= 'F' ? (int8_t)(c - 'A' + 10) : -1;
}

static bool sum_is_right(void) {
    if (length < 4 || line[length - 3] != '*') {
        return false;
    }
    int8_t high = nibble(line[length - 2]), low = nibble(line[length - 1]);
    length -= 3;
    line[length] = 0;
    return high >= 0 && low >= 0 && crc8(line, length) == (uint8_t)(high << 4 | low);
}

static void line_end(void) {
    if (too_long || !sum_is_right()) {
        bad++;
        SAY("E sum");
        send();
    } else {
        if (!command()) {
            used = 0;
            SAY("E ");
            for (uint8_t i = 0; i < length && i < 16; i++) {
                put(line[i]);
            }
        }
        send();
    }
}

/* At most one line a call, so that the rest of the main loop runs between two. */
void words_poll(void) {
    uint8_t byte;
    while (serial_get(&byte)) {
        if (byte == '\n' || byte == '\r') {
            bool empty = length == 0 && !too_long;
            if (!empty) {
                line_end();
            }
            length = 0;
            too_long = false;
            if (!empty) {
                return;
            }
        } else if (length < LINE - 1) {
            line[length++] = (char)byte;
        } else {
            too_long = true;
        }
    }
}

static void stamp(char what, uint32_t ms, uint16_t us) {
    put(what);
    put(' ');
    put_number(number++, 0);
    SAY(" t=");
    put_number(ms, 0);
    put('.');
    put((char)('0' + us / 100));
    put((char)('0' + us / 10 % 10));
    put((char)('0' + us % 10));
}

static void stream_capture(void) {
    static struct capture sum;
    static uint32_t since;
    uint16_t us;
    uint32_t now = clock_ms(&us);
    struct capture more;
    capture_take(&more);
    sum.high += more.high;
    sum.period += more.period;
    sum.periods += more.periods;
    sum.missed += more.missed;
    uint32_t duty, millihertz = 0;
    if (sum.periods) {
        duty = (uint32_t)(((uint64_t)sum.high * 10000 + sum.period / 2) / sum.period);
        millihertz = (uint32_t)(((uint64_t)sum.periods * F_CPU * 1000 + sum.period / 2) / sum.period);
    } else if (now - since >= OLDEST_MS && sum.missed == 0) {
        duty = more.level ? 10000 : 0;
    } else {
        return;
    }
    seen_duty = (uint16_t)duty;
    if (streaming) {
        stamp('C', now, us);
        SAY(" duty=");
        put_number(duty, 2);
        SAY(" hz=");
        put_number(millihertz, 3);
        SAY(" missed=");
        put_number(sum.missed, 0);
        put_flag(PSTR(" in1="), inputs_level(0));
        put_flag(PSTR(" in2="), inputs_level(1));
        send();
    }
    if (sum.periods) {
        since = now;
    }
    memset(&sum, 0, sizeof sum);
}

void words_stream(void) {
    struct mean mean;
    struct edge edge;
    int32_t counts;
    if (inputs_mean(0, &mean)) {
        last_mean[0] = mean.tenths;
        if (streaming) {
            stamp('P', mean.ms, mean.us);
            SAY(" v=");
            put_number(mean.tenths, 4);
            send();
        }
    }
    for (uint8_t i = 1; i < 4; i++) {
        if (inputs_mean(i, &mean)) {
            last_mean[i] = mean.tenths;
            if (i == 3) {
                if (streaming) {
                    stamp('A', mean.ms, mean.us);
                    SAY(" v1=");
                    put_number(last_mean[1], 4);
                    SAY(" v2=");
                    put_number(last_mean[2], 4);
                    SAY(" v3=");
                    put_number(last_mean[3], 4);
                    send();
                }
                stream_capture();
            }
        }
    }
    if (inputs_edge(&edge) && streaming) {
        stamp('I', edge.ms, edge.us);
        SAY(" input=");
        put((char)('1' + edge.input));
        put_flag(PSTR(" level="), edge.level);
        send();
    }
    if (cell_read(&counts) && streaming) {
        uint16_t us;
        uint32_t ms = clock_ms(&us);
        stamp('W', ms, us);
        SAY(" counts=");
        put_signed(counts);
        send();
    }
}
