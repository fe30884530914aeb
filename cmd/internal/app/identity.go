package app

// LoginsFile is the file of the data folder in which logins outlast a restart.
const LoginsFile = "logins.json"
