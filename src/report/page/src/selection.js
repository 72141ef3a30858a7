// The one station that every view shows; whoever cares listens.
const listeners = [];
let current = 0;
export const selected = () => current;
export function select(station_mm) {
  if (station_mm === current) return;
  current = station_mm;
  for (const listener of listeners) listener(current);
}
export function on_select(listener) {
  listeners.push(listener);
}
