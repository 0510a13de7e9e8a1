// Package photos keeps the photos that a builder adds, and makes the picture of
// each that goes into a build book.
//
// # What is kept
//
// The photos of the store build.db are in the folder build.db.photos beside it.
// Each is one file, ab/<hex>, named by the SHA-256 of its bytes; ab is its first
// two digits. The bytes are those of the file that was added: nothing is removed,
// so that a photo stays evidence. It may therefore say where it was taken, which
// [Position] reports, and so only the owner may read the folder and its files.
//
// A photo is kept whole or not at all, and has reached the disk when [Folder.Add]
// returns. Adding it again keeps one file. It is checked against its name each
// time it is read. Nothing deletes a photo.
//
// # What goes into a book
//
// [ForBook] redraws a photo: upright, no larger than asked, and with none of what
// a camera writes beside the picture: no position, no serial number, no preview,
// no colour profile.
//
// # Why no library
//
// Only two EXIF values are needed. A hundred or so fuzzed lines read them, fewer
// than in any library. Pictures are scaled with the same kind of filter as that of
// golang.org/x/image/draw, but a row at a time, so that a large photo is not in
// memory twice.
package photos
