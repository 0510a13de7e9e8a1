// Package photos keeps the photos that a builder adds, and makes of each the
// picture that stands in a printed build book.
//
// # What is kept
//
// The photos of the store build.db are in the folder build.db.photos beside it.
// Each is one file, ab/<hex>, named by the SHA-256 of its bytes, of which ab are
// the first two digits. The bytes are those of the file that was added: nothing
// is taken out of them, so a photo stays the evidence that it was. It may
// therefore say where it was taken, which [Position] tells, and the folder and
// its files are for their owner alone.
//
// A photo is kept all or not at all, and has reached the disk when [Folder.Add]
// returns. Adding it again keeps one file. It is checked against its name each
// time it is read. Nothing takes a photo away.
//
// # What goes into a book
//
// [ForBook] draws a photo anew: upright, no larger than asked, and with none of
// what a camera writes beside the picture: no position, no serial number, no
// preview, no profile of colours.
//
// # Why no library
//
// Two values of EXIF are read, in some hundred lines that are fuzzed; no library
// for it is smaller than that. Pictures are made smaller by a filter of the same
// kind as that of golang.org/x/image/draw, a row at a time, so that a large
// photo is not held twice.
package photos
