//! A zlib stream (RFC 1950, RFC 1951) made for pages: most rows repeat the one
//! above, and letters repeat each other. One block with codes of its own.

/// The longest stretch that one token repeats.
const LONGEST: usize = 258;
/// A token reaches back at most so far.
const REACH: usize = 32 * 1024;
/// A stretch as long as this is taken without a look for a longer one.
const GOOD: usize = 24;
/// Places of the table in which four bytes were seen last: 2 to the power of this.
const SLOT_BITS: u32 = 13;

/// Literals, the end of the block, and lengths.
const LITERALS: usize = 286;
const END: usize = 256;
const LENGTHS_FROM: usize = 257;
const DISTANCES: usize = 30;

/// The smallest length of each code, and how many bits tell the rest (RFC 1951, 3.2.5).
const LENGTH_CODES: [(u16, u8); 29] = [
    (3, 0),
    (4, 0),
    (5, 0),
    (6, 0),
    (7, 0),
    (8, 0),
    (9, 0),
    (10, 0),
    (11, 1),
    (13, 1),
    (15, 1),
    (17, 1),
    (19, 2),
    (23, 2),
    (27, 2),
    (31, 2),
    (35, 3),
    (43, 3),
    (51, 3),
    (59, 3),
    (67, 4),
    (83, 4),
    (99, 4),
    (115, 4),
    (131, 5),
    (163, 5),
    (195, 5),
    (227, 5),
    (258, 0),
];

/// The order in which lengths of code lengths are told (RFC 1951, 3.2.7).
const TOLD_ORDER: [usize; 19] = [
    16, 17, 18, 0, 8, 7, 9, 6, 10, 5, 11, 4, 12, 3, 13, 2, 14, 1, 15,
];

/// A byte as it is, or a stretch that repeats what was `distance` bytes before.
#[derive(Debug, Clone, Copy)]
struct Token {
    /// 0 for a byte as it is.
    length: u16,
    /// The byte, or the distance.
    value: u16,
}

/// Squeezes pages; its room to work in serves one after another.
pub struct Squeezer {
    tokens: Vec<Token>,
    /// By the hash of four bytes: where they, or others like them, were last.
    seen_at: Vec<u32>,
}

impl Squeezer {
    pub fn new() -> Squeezer {
        Squeezer {
            tokens: Vec::new(),
            seen_at: vec![0; 1 << SLOT_BITS],
        }
    }

    /// Puts the stream for `rows`, each of `row_bytes`, in the place of what is
    /// in `out`.
    pub fn squeeze(&mut self, rows: &[u8], row_bytes: usize, out: &mut Vec<u8>) {
        self.find_tokens(rows, row_bytes);
        out.clear();
        // 32 KiB of reach, and the fastest of four levels
        out.extend_from_slice(&[0x78, 0x01]);
        write_block(&self.tokens, out);
        let mut sum = simd_adler32::Adler32::new();
        sum.write(rows);
        out.extend_from_slice(&sum.finish().to_be_bytes());
    }

    fn find_tokens(&mut self, rows: &[u8], row_bytes: usize) {
        self.tokens.clear();
        self.seen_at.fill(0);
        let mut at = 0;
        while let Some(four) = four_bytes(rows, at) {
            let (mut length, mut distance) = (0, 0);
            let above = at.checked_sub(row_bytes).filter(|_| row_bytes <= REACH);
            if let Some(above) = above.filter(|above| four_bytes(rows, *above) == Some(four)) {
                (length, distance) = (alike(rows, above, at), row_bytes);
            }
            // the byte before, on and on: told in fewest bits, as on empty rows
            let before = at.checked_sub(1);
            if let Some(before) = before.filter(|b| four_bytes(rows, *b) == Some(four)) {
                let found = alike(rows, before, at);
                if found >= length {
                    (length, distance) = (found, 1);
                }
            }
            if length < GOOD {
                let seen = self.last_seen(four, at);
                let near = seen < at && at - seen <= REACH;
                if near && four_bytes(rows, seen) == Some(four) {
                    let found = alike(rows, seen, at);
                    // a new distance takes more bits than one of the usual two
                    if found > length + 1 {
                        (length, distance) = (found, at - seen);
                    }
                }
            }
            if length == 0 {
                self.push_byte(four as u8);
                at += 1;
            } else {
                self.push_repeat(length, distance);
                at += length;
            }
        }
        for byte in rows.get(at..).unwrap_or_default() {
            self.push_byte(*byte);
        }
    }

    /// Where these four bytes may have been last. From now on they were at `at`.
    fn last_seen(&mut self, four: u32, at: usize) -> usize {
        // a large odd number spreads what differs in any bit
        let slot = four.wrapping_mul(0x9E37_79B1) >> (32 - SLOT_BITS);
        let place = self.seen_at.get_mut(slot as usize);
        let noted = u32::try_from(at).unwrap_or(0);
        place.map_or(at, |place| std::mem::replace(place, noted) as usize)
    }

    fn push_byte(&mut self, byte: u8) {
        self.tokens.push(Token {
            length: 0,
            value: u16::from(byte),
        });
    }

    fn push_repeat(&mut self, length: usize, distance: usize) {
        let mut left = length;
        while left > 0 {
            // no rest so short that no token can tell it
            let part = match left {
                259 | 260 => left - 3,
                _ => left.min(LONGEST),
            };
            self.tokens.push(Token {
                length: part as u16,
                value: distance as u16,
            });
            left -= part;
        }
    }
}

fn four_bytes(data: &[u8], at: usize) -> Option<u32> {
    let bytes = data.get(at..)?.first_chunk()?;
    Some(u32::from_le_bytes(*bytes))
}

fn eight_bytes(data: &[u8], at: usize) -> Option<u64> {
    let bytes = data.get(at..)?.first_chunk()?;
    Some(u64::from_le_bytes(*bytes))
}

/// How many bytes from `one` on equal those from `other` on.
fn alike(data: &[u8], one: usize, other: usize) -> usize {
    let from = |at: usize| data.get(at..).unwrap_or_default();
    let (a, b) = (from(one), from(other));
    let mut n = 0;
    while let (Some(x), Some(y)) = (eight_bytes(a, n), eight_bytes(b, n)) {
        if x != y {
            return n + ((x ^ y).trailing_zeros() / 8) as usize;
        }
        n += 8;
        if n == 32 {
            // long stretches go on in larger steps
            let steps = a.as_chunks::<32>().0.iter().zip(b.as_chunks::<32>().0);
            n += 32 * steps.skip(1).take_while(|(x, y)| x == y).count();
        }
    }
    n + a.iter().zip(b).skip(n).take_while(|(x, y)| x == y).count()
}

fn length_code(length: usize) -> usize {
    LENGTH_CODES
        .partition_point(|(base, _)| usize::from(*base) <= length)
        .saturating_sub(1)
}

/// The code of a distance, and how many bits tell the rest: two codes for every
/// power of two from 4 on.
fn distance_code(distance: u16) -> (usize, u32) {
    let from_nought = u32::from(distance) - 1;
    if from_nought < 4 {
        return (from_nought as usize, 0);
    }
    let bits = from_nought.ilog2() - 1;
    ((2 * bits + (from_nought >> bits)) as usize, bits)
}

/// A code word: its bits, the first one lowest, and how many.
#[derive(Debug, Clone, Copy, Default)]
struct Word {
    bits: u64,
    count: u32,
}

impl Word {
    fn then(self, next: Word) -> Word {
        Word {
            bits: self.bits | next.bits << self.count,
            count: self.count + next.count,
        }
    }
}

/// Writes bits into room made before.
struct Bits<'a> {
    out: &'a mut Vec<u8>,
    end: usize,
    held: Word,
}

impl Bits<'_> {
    /// At most 56 bits at once.
    fn put(&mut self, word: Word) {
        self.held = self.held.then(word);
        let room = self.out.get_mut(self.end..);
        if let Some(room) = room.and_then(|room| room.first_chunk_mut()) {
            *room = self.held.bits.to_le_bytes();
        }
        // at most seven bits are held on
        let whole = self.held.count / 8;
        self.end += whole as usize;
        self.held.bits >>= 8 * whole;
        self.held.count %= 8;
    }
}

fn write_block(tokens: &[Token], out: &mut Vec<u8>) {
    let mut literal_counts = [0_u32; LITERALS];
    let mut distance_counts = [0_u32; DISTANCES];
    literal_counts[END] = 1;
    let mut length_counts = [0_u32; LONGEST + 1];
    for token in tokens {
        if token.length == 0 {
            literal_counts[usize::from(token.value)] += 1;
        } else {
            length_counts[usize::from(token.length)] += 1;
            distance_counts[distance_code(token.value).0] += 1;
        }
    }
    for (length, count) in length_counts.iter().enumerate().skip(3) {
        literal_counts[LENGTHS_FROM + length_code(length)] += count;
    }
    let literal_lengths = code_lengths(&literal_counts, 15);
    let distance_lengths = code_lengths(&distance_counts, 15);
    let literals = words(&literal_lengths);
    let distances = words(&distance_lengths);
    // a length's code and the rest of it, in one word
    let mut lengths = [Word::default(); LONGEST + 1];
    for (length, word) in lengths.iter_mut().enumerate().skip(3) {
        let code = length_code(length);
        let (base, extra) = LENGTH_CODES[code];
        *word = literals[LENGTHS_FROM + code].then(Word {
            bits: (length - usize::from(base)) as u64,
            count: u32::from(extra),
        });
    }

    let end = out.len();
    // a token takes at most 48 bits, the codes less than 600 bytes
    out.resize(end + 6 * tokens.len() + 1024, 0);
    let held = Word::default();
    let mut bits = Bits { out, end, held };
    // the last block, with codes of its own
    bits.put(Word {
        bits: 0b101,
        count: 3,
    });
    tell_codes(&literal_lengths, &distance_lengths, &mut bits);
    for token in tokens {
        if token.length == 0 {
            bits.put(literals[usize::from(token.value)]);
            continue;
        }
        let (code, extra) = distance_code(token.value);
        let rest = u64::from(token.value - 1) & ((1 << extra) - 1);
        let distance = distances[code].then(Word {
            bits: rest,
            count: extra,
        });
        bits.put(lengths[usize::from(token.length)].then(distance));
    }
    bits.put(literals[END]);
    let last = usize::from(bits.held.count > 0);
    let end = bits.end + last;
    out.truncate(end);
}

/// Tells the lengths of both codes, runs of noughts in short.
fn tell_codes(literals: &[u8], distances: &[u8], bits: &mut Bits<'_>) {
    let all: Vec<u8> = literals.iter().chain(distances).copied().collect();
    // symbol and what follows it
    let mut told: Vec<(usize, Word)> = Vec::new();
    for run in all.chunk_by(|a, b| a == b) {
        let mut left = run.len();
        let length = run.first().copied().map_or(0, usize::from);
        while length == 0 && left >= 3 {
            let part = left.min(138);
            let (symbol, bits, count) = match part {
                ..11 => (17, part - 3, 3),
                _ => (18, part - 11, 7),
            };
            let bits = bits as u64;
            told.push((symbol, Word { bits, count }));
            left -= part;
        }
        told.extend(std::iter::repeat_n((length, Word::default()), left));
    }
    let mut counts = [0_u32; TOLD_ORDER.len()];
    for (symbol, _) in &told {
        counts[*symbol] += 1;
    }
    let lengths = code_lengths(&counts, 7);
    let codes = words(&lengths);
    let last_used = TOLD_ORDER.iter().rposition(|symbol| lengths[*symbol] > 0);
    let used = last_used.map_or(4, |last| (last + 1).max(4));
    let number = |value: usize, count: u32| Word {
        bits: value as u64,
        count,
    };
    bits.put(number(literals.len() - 257, 5));
    bits.put(number(distances.len() - 1, 5));
    bits.put(number(used - 4, 4));
    for symbol in TOLD_ORDER.iter().take(used) {
        bits.put(number(usize::from(lengths[*symbol]), 3));
    }
    for (symbol, rest) in told {
        bits.put(codes[symbol].then(rest));
    }
}

/// The lengths of the shortest code for symbols that occur so often, none
/// longer than `most` bits; 0 for those that do not occur. At least two have a code.
fn code_lengths(counts: &[u32], most: u8) -> Vec<u8> {
    let mut counts = counts.to_vec();
    for place in 0..2 {
        if counts.iter().filter(|n| **n > 0).count() < 2 {
            counts[place] = counts[place].max(1);
        }
    }
    loop {
        let lengths = shortest_code(&counts);
        if lengths.iter().all(|length| *length <= most) {
            return lengths;
        }
        // the more even the counts, the more even the lengths
        for count in counts.iter_mut().filter(|n| **n > 0) {
            *count = *count / 2 + 1;
        }
    }
}

/// D. A. Huffman, *A method for the construction of minimum-redundancy codes*, 1952.
fn shortest_code(counts: &[u32]) -> Vec<u8> {
    let occurring = (0_usize..).zip(counts).filter(|(_, n)| **n > 0);
    let mut leaves: Vec<(u64, usize)> = occurring.map(|(i, n)| (u64::from(*n), i)).collect();
    leaves.sort_unstable();
    // leaves first, then knots: both come out in order of their weight
    let mut weights: Vec<u64> = leaves.iter().map(|(n, _)| *n).collect();
    let mut parents = vec![0; 2 * leaves.len()];
    let (mut leaf, mut knot) = (0, leaves.len());
    for next in leaves.len()..(2 * leaves.len()).saturating_sub(1) {
        let mut weight = 0;
        for _ in 0..2 {
            let take_leaf = leaf < leaves.len() && (knot >= next || weights[leaf] <= weights[knot]);
            let taken = if take_leaf { &mut leaf } else { &mut knot };
            weight += weights[*taken];
            parents[*taken] = next;
            *taken += 1;
        }
        weights.push(weight);
    }
    let mut depths = vec![0_u8; weights.len()];
    for place in (0..weights.len().saturating_sub(1)).rev() {
        depths[place] = depths[parents[place]] + 1;
    }
    let mut lengths = vec![0; counts.len()];
    for ((_, symbol), depth) in leaves.iter().zip(depths) {
        lengths[*symbol] = depth;
    }
    lengths
}

/// The code words of these lengths (RFC 1951, 3.2.2), first bit lowest.
fn words(lengths: &[u8]) -> Vec<Word> {
    let mut next = [0_u16; 16];
    let mut code = 0;
    for length in 1..16_u8 {
        let shorter = lengths.iter().filter(|l| **l > 0 && **l == length - 1);
        code = (code + shorter.count() as u16) << 1;
        next[usize::from(length)] = code;
    }
    lengths
        .iter()
        .map(|length| {
            let Some(code) = next.get_mut(usize::from(*length)).filter(|_| *length > 0) else {
                return Word::default();
            };
            let turned = code.reverse_bits() >> (16 - u32::from(*length));
            *code += 1;
            Word {
                bits: u64::from(turned),
                count: u32::from(*length),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read_back(stream: &[u8]) -> Vec<u8> {
        let mut reader = flate2::read::ZlibDecoder::new(stream);
        let mut back = Vec::new();
        std::io::Read::read_to_end(&mut reader, &mut back).unwrap();
        back
    }

    /// Numbers that look as if by chance, the same every time.
    fn scattered(n: usize) -> impl Iterator<Item = u8> {
        let mut state = 1_u32;
        std::iter::repeat_with(move || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 24) as u8
        })
        .take(n)
    }

    #[test]
    fn streams_come_back_as_they_were() {
        let mut squeezer = Squeezer::new();
        let mut out = Vec::new();
        let noise: Vec<u8> = scattered(70_000).collect();
        let few: Vec<u8> = noise.iter().map(|b| b / 64).collect();
        let mut rows: Vec<u8> = noise
            .iter()
            .take(500)
            .copied()
            .cycle()
            .take(50_000)
            .collect();
        rows[20_000] ^= 1;
        let deep: Vec<u8> = (0..24_u8).flat_map(|b| vec![b; 1 << (b / 2)]).collect();
        let lengths = (0..600).map(|n| vec![7; n]);
        let cases = [noise, few, rows, deep, vec![0; 100_000], vec![], vec![9]];
        for data in cases.into_iter().chain(lengths) {
            for row_bytes in [1, 500, 501, 40_000] {
                squeezer.squeeze(&data, row_bytes, &mut out);
                assert!(read_back(&out) == data, "{} {row_bytes}", data.len());
            }
        }
    }

    #[test]
    fn rows_that_repeat_cost_next_to_nothing() {
        let mut squeezer = Squeezer::new();
        let mut out = Vec::new();
        let row: Vec<u8> = scattered(1_755).collect();
        squeezer.squeeze(&row.repeat(1_000), row.len(), &mut out);
        // seven tokens a row
        assert!(out.len() < row.len() + 11 * 1_000, "{}", out.len());
    }

    #[test]
    fn no_code_is_longer_than_asked_and_none_is_left_over() {
        // weights that grow like this make the longest codes there are
        let mut counts = vec![1_u32, 1];
        while counts.len() < 40 {
            counts.push(counts.iter().rev().take(2).sum());
        }
        for most in [7, 15] {
            let lengths = code_lengths(&counts, most);
            assert!(lengths.iter().all(|l| (1..=most).contains(l)));
            // Kraft: the words fill the whole space
            let filled: f64 = lengths.iter().map(|l| 0.5_f64.powi(i32::from(*l))).sum();
            assert!((filled - 1.0).abs() < 1e-12, "{filled}");
        }
    }
}
