// The crossings of the field's lines, which a coach can take hold of.

import { WIDTH_YD } from "./geometry.js";

const REACH_YD = 3;

/** The crossing nearest to a field spot: a yard line with a sideline or a row of hash marks; the spot itself if none is near. */
export function gridNear([x, y], hashYd) {
  const line = Math.max(10, Math.min(110, 5 * Math.round(x / 5)));
  const across = [0, hashYd ?? 20, WIDTH_YD - (hashYd ?? 20), WIDTH_YD].sort((a, b) => Math.abs(a - y) - Math.abs(b - y))[0];
  const at = [line, Math.round(across * 1000) / 1000];
  return Math.hypot(at[0] - x, at[1] - y) <= REACH_YD ? at : [line, Math.round(y * 100) / 100];
}
