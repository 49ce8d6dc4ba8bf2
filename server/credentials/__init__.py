"""What lets people in: passwords, codes, passkeys, keys. Pure: no SQL, no HTTP."""
