// The same diverging colours as heatmap.png: blue too deep, near-white on the target, orange-brown wood to take off.
const stops = [[-1, 16, 56, 110], [-0.6, 58, 120, 178], [-0.25, 160, 200, 226], [0, 250, 248, 243], [0.25, 246, 205, 150], [0.6, 214, 126, 44], [1, 116, 54, 4]];
export function heat_rgb(deviation_mm, range_mm) {
  if (Number.isNaN(deviation_mm)) return [200, 200, 200];
  const t = Math.max(-1, Math.min(1, deviation_mm / range_mm));
  let i = 1;
  while (i + 1 < stops.length && t > stops[i][0]) ++i;
  const a = stops[i - 1], b = stops[i], w = (t - a[0]) / (b[0] - a[0]);
  return [1, 2, 3].map((k) => Math.round(a[k] * (1 - w) + b[k] * w));
}
