// A short soft tone at a new halt. Nothing that could sound is made before somebody asks for it.

let air = null;

export const isOn = () => air !== null;

export function toggle() {
  if (air === null) air = new AudioContext();
  else [air] = [null, air.close()];
  if (air !== null) sound();
}

export function sound() {
  const at = air.currentTime, voice = air.createOscillator(), loud = air.createGain();
  voice.frequency.value = 392;
  loud.gain.setValueAtTime(0, at);
  loud.gain.linearRampToValueAtTime(0.12, at + 0.05);
  loud.gain.exponentialRampToValueAtTime(0.001, at + 0.5);
  voice.connect(loud).connect(air.destination);
  voice.start(at);
  voice.stop(at + 0.5);
}
