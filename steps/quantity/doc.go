// Package quantity holds numbers with units as people write them: 5 3/8 in,
// 121.5 mm, 250 °F, 10 min, 42 g.
//
// A [Quantity] keeps three things: the exact value as a rational number, the
// unit it was given in, and the text that was typed. Nothing is rounded until
// something is printed. The exact units are taken from the inch of 25.4 mm and
// the pound of 0.45359237 kg (international yard and pound agreement, 1959)
// and standard gravity of 9.80665 m/s² (NIST SP 811, appendix B.8). The three are
// second-hand; what is derived from them is exact.
//
// # What is read
//
//   - Whole numbers, decimals with a point or a comma, fractions, mixed
//     numbers (5 3/8, 5-3/8, 5⅜) and, largest first, yards, feet and inches,
//     pounds and ounces, days, hours, minutes and seconds (2' 1⅜", 1h30m). All
//     parts but the last must be whole numbers. An m is a metre, but next to hours
//     or seconds it is a minute.
//   - A comma with three digits after it is refused, as it may separate thousands;
//     after a lone 0 it cannot, and is read as a decimal comma. Thousands
//     separators and powers of ten (1e3) are refused.
//   - Case does not matter, except that a capital M before V, A, g or m does not
//     mean milli, and k does not mean kelvin. The word mil is refused, because it
//     means a thousandth of an inch to some and a millimetre to others.
//   - ounces and pounds are masses; as forces they are ozf and lbf.
//
// # A hyphen
//
// A hyphen between a whole number of at least 1 and a fraction below 1, with
// no space on either side, joins a mixed number: 5-3/8 in is one length. So
// does a hyphen between feet and fewer than 12 inches: 2'-1⅜". As ranges these
// would run backwards, so nothing is lost. Every other hyphen or dash after a number
// means a range, which only [ParseRange] reads: 4-5 in, 0-3/8 in, 1/16-3/32 in.
//
// # Bounds
//
// A text has at most 100 bytes, a number at most 15 digits on either side of
// its point, a fraction at most 6 digits above and below the line. A quantity is at
// most 1e9 in its base unit, which is 1000 km, 1000 t or 31 years.
//
// # Compatibility
//
// Journals contain the JSON form and every spelling of a unit: a spelling may be
// added, but never removed or given another meaning.
package quantity
