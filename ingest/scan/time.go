package scan

// Time reads an ISO 8601 time as Unix nanoseconds: a date, "T", "t", "_" or
// a blank, hours and minutes, seconds with any fraction (point or comma), and
// "Z", an offset or nothing, which is taken as UTC. Years 1900 to 2200.
func Time(b []byte) (ns int64, ok bool) {
	num := func(n int) (int, bool) {
		if len(b) < n {
			return 0, false
		}
		v := 0
		for _, c := range b[:n] {
			if c-'0' > 9 {
				return 0, false
			}
			v = v*10 + int(c-'0')
		}
		b = b[n:]
		return v, true
	}
	eat := func(c byte) bool {
		if len(b) > 0 && b[0] == c {
			b = b[1:]
			return true
		}
		return false
	}
	year, ok := num(4)
	if !ok || year < 1900 || year > 2200 {
		return 0, false
	}
	sep := byte(0)
	if len(b) > 0 && (b[0] == '-' || b[0] == '/') {
		sep, b = b[0], b[1:]
	}
	month, ok := num(2)
	if !ok || month < 1 || month > 12 {
		return 0, false
	}
	if sep != 0 && !eat(sep) {
		return 0, false
	}
	day, ok := num(2)
	if !ok || day < 1 || day > daysIn(year, month) {
		return 0, false
	}
	if !eat('T') && !eat(' ') && !eat('t') && !eat('_') {
		return 0, false
	}
	hour, ok := num(2)
	if !ok || hour > 24 {
		return 0, false
	}
	colon := eat(':')
	minute, ok := num(2)
	if !ok || minute > 59 {
		return 0, false
	}
	second, frac := 0, int64(0)
	if eat(':') || (!colon && len(b) >= 2 && b[0]-'0' <= 9) {
		if second, ok = num(2); !ok || second > 60 {
			return 0, false
		}
		if eat('.') || eat(',') {
			scale := int64(1e8)
			n := 0
			for len(b) > 0 && b[0]-'0' <= 9 {
				if scale > 0 {
					frac += int64(b[0]-'0') * scale
				} else if n == 9 && b[0] >= '5' {
					frac++
				}
				scale /= 10
				n++
				b = b[1:]
			}
			if n == 0 {
				return 0, false
			}
		}
	}
	offset := 0
	eat(' ')
	switch {
	case len(b) == 0 || eat('Z') || eat('z') || string(b) == "UTC" || string(b) == "GMT":
		if len(b) == 3 {
			b = b[3:]
		}
	case b[0] == '+' || b[0] == '-':
		sign := 1
		if b[0] == '-' {
			sign = -1
		}
		b = b[1:]
		h, ok1 := num(2)
		m := 0
		if eat(':') || len(b) > 0 {
			var ok2 bool
			if m, ok2 = num(2); !ok2 {
				return 0, false
			}
		}
		if !ok1 || h > 14 || m > 59 {
			return 0, false
		}
		offset = sign * (h*3600 + m*60)
	}
	if len(b) > 0 {
		return 0, false
	}
	s := unixDays(year, month, day)*86400 + int64(hour*3600+minute*60+second-offset)
	if s > 9_200_000_000 {
		return 0, false
	}
	return s*1e9 + frac, true
}

func daysIn(year, month int) int {
	switch month {
	case 4, 6, 9, 11:
		return 30
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	}
	return 31
}

// unixDays counts the days from 1970-01-01, proleptic Gregorian.
//
// Reference: the March-based year of H. Hinnant, "chrono-compatible low-level
// date algorithms" (2013), days_from_civil.
func unixDays(y, m, d int) int64 {
	if m <= 2 {
		y--
		m += 12
	}
	era := y / 400
	yoe := y - era*400
	doy := (153*(m-3)+2)/5 + d - 1
	doe := yoe*365 + yoe/4 - yoe/100 + doy
	return int64(era)*146097 + int64(doe) - 719468
}
