// From the bytes of a frame to a colour on the screen.

/** The level of one die, 0 to 1. An inverted channel is dark at 255. */
export function level(die, frame) {
  const byte = frame[die.byte];
  return (die.inverted ? 255 - byte : byte) / 255;
}

/** Encode linear light 0 to 1 as an sRGB byte (IEC 61966-2-1). */
export function encode(linear) {
  const clipped = Math.min(Math.max(linear, 0), 1);
  const encoded = clipped <= 0.0031308 ? 12.92 * clipped : 1.055 * clipped ** (1 / 2.4) - 0.055;
  return Math.round(255 * encoded);
}

/**
 * The light of a lens: its dies add up in linear light. What is brighter than the screen is dimmed as a whole,
 * so that its hue stays what it is.
 * Returns `{red, green, blue}` as sRGB bytes, or null while the frame does not reach that far.
 */
export function lensLight(lens, frame) {
  const sum = [0, 0, 0];
  for (const die of lens.dies) {
    if (die.byte < 0) continue; // not on the data line: it gives no light
    if (frame === null || die.byte >= frame.length) return null;
    const share = level(die, frame);
    for (let i = 0; i < 3; i += 1) sum[i] += die.rgb[i] * share;
  }
  const most = Math.max(1, ...sum);
  const [red, green, blue] = sum.map((linear) => encode(linear / most));
  return { red, green, blue };
}

/** The bytes of a frame from its hex text. */
export function bytes(hex) {
  const frame = new Uint8Array(hex.length >> 1);
  for (let i = 0; i < frame.length; i += 1) frame[i] = Number.parseInt(hex.slice(2 * i, 2 * i + 2), 16);
  return frame;
}
