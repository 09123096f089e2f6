package cause
