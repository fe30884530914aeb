package access

import "io/fs"

// othersMay reports false: Windows keeps no mode. The access list of the folder decides there.
func othersMay(fs.FileInfo) bool { return false }
