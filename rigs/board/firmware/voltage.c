/* Two sensor voltages from a two-channel 12-bit converter on SPI: frames of 16 bits, channel and gain in the upper
 * four, most significant bit first, taken over when select rises. Its reference is 5 V. */
#include "board.h"

struct ramp {
    uint32_t now; /* code * 2^16 */
    int32_t by;   /* per ms */
    uint32_t left;
    uint16_t end, sent;
};
static struct ramp ramps[2];

static void send(uint8_t channel, uint16_t code) {
    PORTD &= (uint8_t)~_BV(PIN_SELECT);
    SPDR = (uint8_t)((channel ? 0xb0 : 0x30) | (code >> 8));
    while (!(SPSR & _BV(SPIF))) {
    }
    SPDR = (uint8_t)code;
    while (!(SPSR & _BV(SPIF))) {
    }
    PORTD |= _BV(PIN_SELECT);
}

void voltage_init(void) {
    PORTD |= _BV(PIN_SELECT);
    DDRD |= _BV(PIN_SELECT);
    DDRB |= _BV(PIN_MOSI) | _BV(PIN_SCK);
    SPCR = _BV(SPE) | _BV(MSTR);
    SPSR = _BV(SPI2X);
    send(0, 0);
    send(1, 0);
}

/* `tenths` of a mV, reached after `within_ms`; the converter's code for it. */
uint16_t voltage_set(uint8_t channel, uint16_t tenths, uint32_t within_ms) {
    struct ramp *ramp = &ramps[channel];
    uint32_t code = ((uint32_t)tenths * 4096 + 25000) / 50000;
    if (code > 4095) {
        code = 4095;
    }
    uint32_t now;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        ramp->left = 0;
        now = ramp->now;
    }
    int32_t by = within_ms ? (int32_t)((code << 16) - now) / (int32_t)within_ms : 0;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        ramp->end = (uint16_t)code;
        ramp->by = by;
        ramp->left = within_ms ? within_ms : 1;
    }
    return (uint16_t)code;
}

/* Every ms, inside the tick. */
void voltage_tick(void) {
    for (uint8_t i = 0; i < 2; i++) {
        struct ramp *ramp = &ramps[i];
        if (ramp->left == 0) {
            continue;
        }
        ramp->left--;
        ramp->now = ramp->left ? ramp->now + (uint32_t)ramp->by : (uint32_t)ramp->end << 16;
        uint16_t code = (uint16_t)((ramp->now + 0x8000) >> 16);
        if (code != ramp->sent) {
            ramp->sent = code;
            send(i, code);
        }
    }
}

uint16_t voltage_code(uint8_t channel) {
    uint16_t code;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) {
        code = ramps[channel].sent;
    }
    return code;
}
