/* Open bench board: what its parts share.
 *
 * Clock 16 MHz from a crystal. Timers:
 *   timer 1  pump PWM on OC1B, mode 15 (top in OCR1A), prescaler 1; counts cycles for input capture as well
 *   timer 0  engine-speed pulses on OC0A, prescaler 8, free running; its overflow starts the converter
 *   timer 2  the 1 ms tick: heartbeat, emergency stop, debounce, ramps, time stamps
 * Port B: 0 controller's pump output (capture), 1 drive source, 2 pump, 3 and 5 SPI to the voltage converter
 * Port C: 0 to 3 analogue inputs, 4 and 5 on/off inputs
 * Port D: 0 and 1 serial line, 2 emergency stop, 3 and 5 load cell clock and data, 4 converter select,
 *         6 engine-speed pulses, 7 solenoid
 */
#ifndef BOARD_H
#define BOARD_H

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stdbool.h>
#include <stdint.h>
#include <util/atomic.h>

#define FIRMWARE "dutycup-board 1.0"

enum { PIN_CAPTURE = PB0, PIN_SOURCE = PB1, PIN_PUMP = PB2, PIN_MOSI = PB3, PIN_SCK = PB5 };
enum { PIN_INPUT_1 = PC4, PIN_INPUT_2 = PC5 };
enum { PIN_STOP = PD2, PIN_CELL_CLOCK = PD3, PIN_SELECT = PD4, PIN_CELL_DATA = PD5, PIN_TACH = PD6, PIN_SOLENOID = PD7 };

/* Output off this long after the last heartbeat at the latest, less what a line may wait for the main loop. */
#define HEARTBEAT_MS 490
/* The solenoid closes this long after the pump went off, so that the line empties first. */
#define SOLENOID_MS 2000

/* pump.c: owns pump, solenoid and drive source. */
void pump_init(void);
void pump_off(bool tripped);
bool pump_arm(void);
void pump_beat(void);
bool pump_frequency(uint16_t hz);
void pump_duty(uint16_t hundredths);
void pump_source(bool controller);
void pump_solenoid(bool open);
void pump_tick(void);
uint16_t pump_read_back(void);
uint16_t pump_period(void);
struct pump_state {
    bool armed, on, stop, tripped, solenoid, controller;
};
struct pump_state pump_state(void);

/* capture.c: the controller's pump output, in cycles of 62.5 ns. */
struct capture {
    uint32_t high, period; /* sums over whole periods */
    uint16_t periods;
    uint16_t missed; /* pulses too short to be measured */
    bool level;      /* of the pin now */
};
void capture_init(void);
void capture_take(struct capture *out);

/* pulses.c: engine speed. */
void pulses_init(void);
void pulses_set(uint32_t millihertz);

/* voltage.c: two sensor voltages, 0 to 5 V, with ramps on the board's clock. */
void voltage_init(void);
uint16_t voltage_set(uint8_t channel, uint16_t tenths, uint32_t within_ms);
void voltage_tick(void);
uint16_t voltage_code(uint8_t channel);

/* inputs.c: converter and on/off inputs. */
#define WINDOW 125 /* samples of a mean: with 8 us between phases they cover a period of 1 ms evenly */
struct edge {
    uint32_t ms;
    uint16_t us;
    uint8_t input;
    bool level;
};
void inputs_init(void);
void inputs_tick(void);
bool inputs_level(uint8_t input);
bool inputs_edge(struct edge *out);
struct mean {
    uint32_t ms; /* end of its window */
    uint16_t us;
    uint16_t tenths; /* 0.1 mV of a 5 V reference */
};
/* A mean that was not taken yet; false while there is none. */
bool inputs_mean(uint8_t channel, struct mean *out);
uint16_t inputs_supply_mv(void);

/* cell.c: the load-cell amplifier, 24 bits on two wires. */
void cell_init(void);
bool cell_read(int32_t *counts);

/* clock.c: the tick and time stamps. */
void clock_init(void);
uint32_t clock_ms(uint16_t *us);
bool clock_ticked(void);

/* serial.c: bytes on the line. */
void serial_init(void);
bool serial_get(uint8_t *byte);
bool serial_put(const char *text, uint8_t length); /* all or nothing */
uint16_t serial_lost(void);

/* words.c: lines in and out. */
uint8_t crc8(const char *text, uint8_t length);
void words_poll(void);
void words_stream(void);

/* main.c */
uint8_t reset_cause(void);
uint16_t stack_left(void);

#endif
