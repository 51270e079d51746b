//! How WFDB signal files store samples (published format pages at physionet.org; reference row 9.33).

/// A format of a signal file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Coding {
    /// Nothing is stored.
    Null,
    /// 16 bits, the least first; 61 the most first; 160 with 32 768 added.
    Least16,
    Most16,
    Offset16,
    /// 24 and 32 bits, the least first.
    Least24,
    Least32,
    /// 8 bits with 128 added.
    Offset8,
    /// Two samples of 12 bits in three bytes.
    Packed212,
    /// Three samples of 10 bits in four bytes, in two ways.
    Packed310,
    Packed311,
    /// FLAC of so many bits.
    Flac(u32),
}

impl Coding {
    pub(super) fn named(format: &str) -> Option<Self> {
        Some(match format {
            "0" => Self::Null,
            "16" => Self::Least16,
            "61" => Self::Most16,
            "160" => Self::Offset16,
            "24" => Self::Least24,
            "32" => Self::Least32,
            "80" => Self::Offset8,
            "212" => Self::Packed212,
            "310" => Self::Packed310,
            "311" => Self::Packed311,
            "508" => Self::Flac(8),
            "516" => Self::Flac(16),
            "524" => Self::Flac(24),
            _ => return None,
        })
    }

    fn bits(self) -> u32 {
        match self {
            Self::Null | Self::Least16 | Self::Most16 | Self::Offset16 => 16,
            Self::Least24 => 24,
            Self::Least32 => 32,
            Self::Offset8 => 8,
            Self::Packed212 => 12,
            Self::Packed310 | Self::Packed311 => 10,
            Self::Flac(bits) => bits,
        }
    }

    /// The value that stands for “not recorded”: the least of all.
    pub(super) fn invalid(self) -> i64 {
        -(1 << (self.bits() - 1))
    }

    /// Least and most value of a converter with this resolution (0 where it is not known) and zero.
    pub(super) fn limits(self, resolution: u32, zero: i64) -> [i64; 2] {
        let [least, most] = [self.invalid() + 1, -self.invalid() - 1];
        if !(1..=32).contains(&resolution) {
            return [least, most];
        }
        let half = 1i64 << (resolution - 1);
        let low = zero.saturating_sub(half).max(least);
        let high = zero.saturating_add(half - 1).min(most);
        if low < high { [low, high] } else { [least, most] }
    }

    /// How many samples make a group, and its bytes.
    pub(super) fn group(self) -> (u64, u64) {
        match self {
            Self::Packed212 => (2, 3),
            Self::Packed310 | Self::Packed311 => (3, 4),
            Self::Null | Self::Flac(_) => (1, 1),
            _ => (1, u64::from(self.bits() / 8)),
        }
    }

    /// Samples in so many bytes; the last group may be cut off.
    pub(super) fn samples_in(self, bytes: u64) -> u64 {
        let (samples, size) = self.group();
        let more = match (self, bytes % size) {
            (Self::Packed212 | Self::Packed310, left) => left / 2,
            (Self::Packed311, left) => left.saturating_sub(1),
            _ => 0,
        };
        bytes / size * samples + more
    }

    /// Sample `index`, counted from the first byte; 0 beyond the last.
    pub(super) fn sample(self, bytes: &[u8], index: usize) -> i64 {
        let (samples, size) = self.group();
        let (samples, size) = (samples as usize, size as usize);
        let start = index / samples * size;
        let byte = |at: usize| i64::from(bytes.get(start + at).copied().unwrap_or(0));
        let place = index % samples;
        match self {
            Self::Null | Self::Flac(_) => 0,
            Self::Least16 => signed(byte(0) | byte(1) << 8, 16),
            Self::Most16 => signed(byte(1) | byte(0) << 8, 16),
            Self::Offset16 => (byte(0) | byte(1) << 8) - 32_768,
            Self::Least24 => signed(byte(0) | byte(1) << 8 | byte(2) << 16, 24),
            Self::Least32 => signed(byte(0) | byte(1) << 8 | byte(2) << 16 | byte(3) << 24, 32),
            Self::Offset8 => byte(0) - 128,
            Self::Packed212 if place == 0 => signed(byte(0) | (byte(1) & 0x0f) << 8, 12),
            Self::Packed212 => signed(byte(2) | (byte(1) & 0xf0) << 4, 12),
            Self::Packed310 if place < 2 => {
                let word = byte(2 * place) | byte(2 * place + 1) << 8;
                signed(word >> 1 & 0x3ff, 10)
            }
            Self::Packed310 => signed(byte(1) >> 3 | byte(3) >> 3 << 5, 10),
            Self::Packed311 => {
                let word = byte(0) | byte(1) << 8 | byte(2) << 16 | byte(3) << 24;
                signed(word >> (10 * place) & 0x3ff, 10)
            }
        }
    }
}

/// The lowest `bits` of a value as two's complement.
fn signed(value: i64, bits: u32) -> i64 {
    value << (64 - bits) >> (64 - bits)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Values worked out by hand from the descriptions of the formats.
    #[test]
    fn packed_samples_are_unpacked() {
        let two = [0x34, 0xf2, 0xff];
        assert_eq!([0, 1].map(|at| Coding::Packed212.sample(&two, at)), [0x234, -1]);
        // 310: the 10 bits from bit 1 of either word; the upper five bits of both make the third.
        let words = [(5u16 << 1) | (0b10001 << 11), (0x3ff << 1) | (0b00001 << 11)];
        let bytes: Vec<u8> = words.iter().flat_map(|word| word.to_le_bytes()).collect();
        let unpacked = [0, 1, 2].map(|at| Coding::Packed310.sample(&bytes, at));
        assert_eq!(unpacked, [5, -1, 0b00001_10001]);
        let word = 7u32 | 0x200 << 10 | 0x1ff << 20;
        let unpacked = [0, 1, 2].map(|at| Coding::Packed311.sample(&word.to_le_bytes(), at));
        assert_eq!(unpacked, [7, -512, 511]);
    }

    #[test]
    fn whole_bytes_are_read() {
        assert_eq!(Coding::Least16.sample(&[0, 0, 0xfe, 0xff], 1), -2);
        assert_eq!(Coding::Most16.sample(&[0xff, 0xfe], 0), -2);
        assert_eq!(Coding::Offset16.sample(&[0, 0x80], 0), 0);
        assert_eq!(Coding::Least24.sample(&[0, 0, 0x80], 0), -8_388_608);
        assert_eq!(Coding::Least32.sample(&[0xff; 4], 0), -1);
        assert_eq!(Coding::Offset8.sample(&[0], 0), Coding::Offset8.invalid());
    }

    #[test]
    fn cut_off_groups_hold_what_they_hold() {
        let counts = |coding: Coding| [3, 4, 5, 6, 7, 8].map(|bytes| coding.samples_in(bytes));
        assert_eq!(counts(Coding::Packed212), [2, 2, 3, 4, 4, 5]);
        assert_eq!(counts(Coding::Packed310), [1, 3, 3, 4, 4, 6]);
        assert_eq!(counts(Coding::Packed311), [2, 3, 3, 4, 5, 6]);
        assert_eq!(counts(Coding::Least16), [1, 2, 2, 3, 3, 4]);
    }

    #[test]
    fn converters_have_limits() {
        // Record 100: 11 bits around 1024.
        assert_eq!(Coding::Packed212.limits(11, 1024), [0, 2047]);
        assert_eq!(Coding::Packed212.limits(12, 0), [-2047, 2047]);
        assert_eq!(Coding::Least16.limits(0, 0), [-32_767, 32_767]);
        assert_eq!(Coding::Offset8.limits(16, 9_000), [-127, 127]);
    }
}
