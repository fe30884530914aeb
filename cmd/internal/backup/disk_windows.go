package backup

import "golang.org/x/sys/windows"

// diskFree returns how many bytes this process may still write to the disk of a folder.
func diskFree(folder string) (int64, error) {
	path, err := windows.UTF16PtrFromString(folder)
	if err != nil {
		return 0, err
	}
	var free uint64
	err = windows.GetDiskFreeSpaceEx(path, &free, nil, nil)
	return int64(free), err
}
