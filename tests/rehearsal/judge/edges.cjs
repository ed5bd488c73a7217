// Runs an Intel HEX file on another emulator of the chip and prints the edges of port B and D: cycle, pin, level.
//   node edges.cjs FOLDER_WITH_NODE_MODULES FILE.hex CYCLES
const { createRequire } = require("module");
const { readFileSync } = require("fs");
const [folder, file, cycles] = process.argv.slice(2);
const avr = createRequire(`${folder}/`)("avr8js");

const flash = new Uint8Array(0x8000).fill(0xff);
for (const line of readFileSync(file, "ascii").split(/\r?\n/)) {
  const bytes = Buffer.from(line.slice(1), "hex");
  if (line.startsWith(":") && bytes[3] === 0) flash.set(bytes.subarray(4, 4 + bytes[0]), bytes.readUInt16BE(1));
}

const cpu = new avr.CPU(new Uint16Array(flash.buffer));
const timers = [avr.timer0Config, avr.timer1Config, avr.timer2Config].map((config) => new avr.AVRTimer(cpu, config));
const out = [];
for (const [config, first, pins] of [[avr.portBConfig, 8, 6], [avr.portDConfig, 0, 8]]) {
  const port = new avr.AVRIOPort(cpu, config);
  const shown = Array(pins).fill(avr.PinState.Input);
  port.addListener(() => {
    for (let pin = 0; pin < pins; pin++) {
      const level = port.pinState(pin);
      if (level === shown[pin]) continue;
      shown[pin] = level;
      if (level === avr.PinState.High || level === avr.PinState.Low) out.push(`${cpu.cycles} ${first + pin} ${level === avr.PinState.High ? 1 : 0}`);
    }
  });
}
while (cpu.cycles < Number(cycles)) {
  avr.avrInstruction(cpu);
  cpu.tick();
}
console.log(out.join("\n"));
void timers;
