//go:build unix

package access

import "io/fs"

// othersMay reports whether the mode lets anybody but the owner at a file.
func othersMay(info fs.FileInfo) bool { return info.Mode().Perm()&0o077 != 0 }
