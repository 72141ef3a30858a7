// Numbers in the units of the plan, with no more digits than their uncertainty carries.
import {page} from './data.js';

export const in_inch = page.units === 'inch';
export const unit = in_inch ? 'in' : 'mm';
const factor = in_inch ? 1 / 25.4 : 1;
const minus = (text) => text.replace(/^-(?=[0.]*$)/, '').replace('-', '\u2212');

// Plain lengths: hundredths of a millimetre, thousandths of an inch.
export const length = (mm, digits = in_inch ? 3 : 2) => (mm === null || mm === undefined || Number.isNaN(mm) ? '\u2013' : minus((mm * factor).toFixed(digits)));
export const length_unit = (mm) => `${length(mm)}\u00a0${unit}`;
export const station = (mm) => (in_inch ? `${(mm * factor).toFixed(1)}\u00a0in` : `${mm.toFixed(0)}\u00a0mm`);
export const station_number = (mm) => (in_inch ? (mm * factor).toFixed(1) : mm.toFixed(0));
export const to_unit = (mm) => mm * factor;

// Digits so that the uncertainty shows two figures at most (GUM 7.2.6), never more than the plain ones plus one.
export function digits_for(u95) {
  if (!(u95 > 0)) return in_inch ? 3 : 2;
  const most = in_inch ? 4 : 3;
  return Math.min(most, Math.max(0, 1 - Math.floor(Math.log10(u95))));
}
export function with_uncertainty(value, u95, of) {
  if (value === null || value === undefined) return 'not measured';
  if (of === 'deg') {
    const d = Math.min(2, digits_for(u95));
    return `${minus(value.toFixed(d))}\u00b0\u00a0\u00b1\u00a0${u95.toFixed(d)}\u00b0`;
  }
  const d = Math.min(in_inch ? 3 : 2, digits_for(u95 * factor));
  return `${minus((value * factor).toFixed(d))}\u00a0\u00b1\u00a0${(u95 * factor).toFixed(d)}\u00a0${unit}`;
}
export const value_in = (value, of) => (of === 'deg' ? `${minus(value.toFixed(2))}\u00b0` : length_unit(value));
export const plain = (value, of) => (of === 'deg' ? value : value * factor);
export const unit_of = (of) => (of === 'deg' ? '\u00b0' : unit);

export const verdict_words = {pass: 'passes', fail: 'out of tolerance', undecided: 'undecided'};
export const mark = {pass: '\u2713', fail: '\u2715', undecided: '?'};
