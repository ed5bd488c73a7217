/* Written by `make spec` from the format table: do not edit. docs/SPEC-roll.md says what each of these means. */
#ifndef FORMAT_H
#define FORMAT_H

#define FORMAT_VERSION 3
#define EXTENDED_ARGUMENT 31
#define EXPLICIT_WAIT 255
#define NO_PIN 255
#define NO_AXIS 255
#define FIRST_SHIFT_PIN 32
#define NO_STRIKER 255
#define FIRST_STRIKER_COIL 128
#define QUEUE_COMMANDS 24
#define READ_AHEAD_MS 20
#define MACHINE_BLOCK_AT 0x3A80
#define FLASH_END 0x7E00
#define KIND_MACHINE 'M'
#define KIND_ROLL 'R'
#define OP_END 0
#define OP_NOTE 1
#define OP_MOVE 2
#define OP_TURN 3
#define OP_PULSE 4
#define OP_HOLD 5
#define OP_RELEASE 6
#define OP_REPEAT 7
#define ROLE_HOME 0
#define ROLE_DETENT 1
#define ROLE_INDEX 2
#define ROLE_PLAY_BUTTON 3
#define POLICY_GO_ON 0
#define POLICY_HOME_AGAIN 1
#define POLICY_STOP 2

/* header: byte offsets */
#define HEADER_MAGIC 0 /* u16 */
#define HEADER_KIND 2 /* u8 */
#define HEADER_VERSION 3 /* u8 */
#define HEADER_LENGTH 4 /* u16 */
#define HEADER_CRC 6 /* u16 */
#define HEADER_SIZE 8

/* machine head: byte offsets */
#define MACHINE_HEAD_MACHINE_ID 0 /* u32 */
#define MACHINE_HEAD_TICK_HZ 4 /* u32 */
#define MACHINE_HEAD_AXES 8 /* u8 */
#define MACHINE_HEAD_COILS 9 /* u8 */
#define MACHINE_HEAD_SWITCHES 10 /* u8 */
#define MACHINE_HEAD_STOPS 11 /* u8 */
#define MACHINE_HEAD_POLICY 12 /* u8 */
#define MACHINE_HEAD_SHIFT_LATCH_PIN 13 /* u8 */
#define MACHINE_HEAD_SHIFT_OUTPUTS 14 /* u8 */
#define MACHINE_HEAD_TOUCHES 15 /* u8 */
#define MACHINE_HEAD_SIZE 16

/* axis: byte offsets */
#define AXIS_STEP_PIN 0 /* u8 */
#define AXIS_DIRECTION_PIN 1 /* u8 */
#define AXIS_ENABLE_PIN 2 /* u8 */
#define AXIS_IS_PICK 3 /* u8 */
#define AXIS_REVERSED 4 /* u8 */
#define AXIS_LOWEST 5 /* s32 */
#define AXIS_HIGHEST 9 /* s32 */
#define AXIS_TURN_STEPS 13 /* u16 */
#define AXIS_CRUISE_TICKS 15 /* u16 */
#define AXIS_HOME_TICKS 17 /* u16 */
#define AXIS_LEAD_US 19 /* u32 */
#define AXIS_STRIKER 23 /* u8 */
#define AXIS_ENTRIES 24 /* u8 */
#define AXIS_SIZE 25

/* ramp entry: byte offsets */
#define RAMP_ENTRY_INTERVAL 0 /* u16 */
#define RAMP_ENTRY_COUNT 2 /* u8 */
#define RAMP_ENTRY_SIZE 3

/* coil: byte offsets */
#define COIL_PIN 0 /* u8 */
#define COIL_PULSE_US 1 /* u32 */
#define COIL_LEAD_US 5 /* u32 */
#define COIL_MAX_ON_MS 9 /* u16 */
#define COIL_RELEASE_MS 11 /* u16 */
#define COIL_MAX_DUTY 13 /* u8 */
#define COIL_SIZE 14

/* switch: byte offsets */
#define SWITCH_PIN 0 /* u8 */
#define SWITCH_CLOSED_HIGH 1 /* u8 */
#define SWITCH_ROLE 2 /* u8 */
#define SWITCH_AXIS 3 /* u8 */
#define SWITCH_SIZE 4

/* stop: byte offsets */
#define STOP_AXIS 0 /* u8 */
#define STOP_STEPS 1 /* s32 */
#define STOP_SIZE 5

/* touch: byte offsets */
#define TOUCH_COIL 0 /* u8 */
#define TOUCH_PULSE_US 1 /* u32 */
#define TOUCH_LEAD_US 5 /* u32 */
#define TOUCH_SIZE 9

/* roll head: byte offsets */
#define ROLL_HEAD_MACHINE_ID 0 /* u32 */
#define ROLL_HEAD_CUES 4 /* u32 */
#define ROLL_HEAD_LENGTH_US 8 /* u32 */
#define ROLL_HEAD_HORIZON_MS 12 /* u16 */
#define ROLL_HEAD_WAITS 14 /* u8 */
#define ROLL_HEAD_TITLE_BYTES 15 /* u8 */
#define ROLL_HEAD_SIZE 16

#endif
