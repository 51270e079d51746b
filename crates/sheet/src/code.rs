//! The code of a sheet: which test, sheet, form and page it is, and nobody's name.
//!
//! The text has 15 characters, `K7M2QX00042A012`: six for the test, five digits for the
//! sheet, a letter for the form, two digits for the page and one to check the rest. Who drew
//! on which sheet stands in the course's folder alone.
//!
//! It is printed as a QR Code (ISO/IEC 18004), which telephones and every decoder library
//! read, and beside it in words for people. Capital letters and digits are the symbology's
//! alphanumeric mode, of which the smallest version holds 16 at level Q: 21 by 21 modules
//! that can still be read when a pencil has spoiled nearly a quarter of them. Version 2 has
//! room for level H, but smaller modules on the same paper. A Data Matrix would need less
//! paper still, but no telephone reads it unasked.
//!
//! The check works as the pure systems of ISO 7064 do, but modulo 31 rather than 37: that is
//! as many characters as remain when those are left out that are easily confused (I, L, O, S,
//! U), and a prime, which is what makes it find every wrong character and every exchange of
//! two. ISO 7064's own mod 37,36 misses some exchanges, and both it and mod 37,2 need the
//! letters left out here.

use fast_qr::{ECL, QRBuilder, Version};
use figure::Box2;

use crate::marks::cover;

/// Modules along a side of the printed code.
pub const CODE_MODULES: usize = 21;

/// White that must stay around the printed code, in modules of the code.
pub const CODE_QUIET: f64 = 4.0;

/// Recommended side of the printed code in millimetres, without the white around it: a module
/// is 5 pixels at 150 dpi. Beyond 20 mm from the centres of the corner marks, a torn corner
/// takes either a mark or the code and not both.
pub const CODE_SIZE_MM: f64 = 18.0;

/// The characters of a test's name and of the check, in the order of their values.
const CHARACTERS: &str = "0123456789ABCDEFGHJKMNPQRTVWXYZ";

/// The number of [`CHARACTERS`].
const MODULUS: u32 = 31;

/// Weights of neighbouring characters differ by this factor. It is a primitive root of
/// [`MODULUS`], so all 15 weights differ.
const RADIX: u32 = 3;

/// Characters of a test's name.
const TEST: usize = 6;

/// Characters of the text.
const LENGTH: usize = 15;

/// What a sheet's code says.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SheetCode {
    test: String,
    sheet: u32,
    form: char,
    page: u8,
}

impl SheetCode {
    /// The code of a page.
    ///
    /// `test` is what [`test_id`] gives, `form` a letter from A to Z, `sheet` at most 99,999
    /// and `page` from 1 to 99.
    pub fn new(test: &str, form: char, sheet: u32, page: u8) -> Result<Self, CodeError> {
        if test.chars().count() != TEST || test.chars().any(|one| value(one).is_none()) {
            return Err(CodeError::Test(test.to_owned()));
        }
        if !form.is_ascii_uppercase() {
            return Err(CodeError::Form(form));
        }
        if sheet > 99_999 {
            return Err(CodeError::Sheet(sheet));
        }
        if !(1..=99).contains(&page) {
            return Err(CodeError::Page(page));
        }
        Ok(Self { test: test.to_owned(), sheet, form, page })
    }

    /// The test's name, as [`test_id`] gives it.
    pub fn test(&self) -> &str {
        &self.test
    }

    /// The form's letter.
    pub fn form(&self) -> char {
        self.form
    }

    /// The sheet's number.
    pub fn sheet(&self) -> u32 {
        self.sheet
    }

    /// The page's number, from 1.
    pub fn page(&self) -> u8 {
        self.page
    }

    /// The text that the printed code holds.
    pub fn to_text(&self) -> String {
        let Self { test, sheet, form, page } = self;
        let mut text = format!("{test}{sheet:05}{form}{page:02}");
        // The sum with the check is to be 1, as in ISO 7064, so that noughts alone do not fit.
        let rest = (MODULUS + 1 - sum(&text) * RADIX % MODULUS) % MODULUS;
        text.extend(CHARACTERS.chars().nth(rest as usize));
        text
    }

    /// The text in groups, for people: `K7M-2QX-00042-A-01-2`.
    pub fn to_label(&self) -> String {
        let text = self.to_text();
        [&text[..3], &text[3..6], &text[6..11], &text[11..12], &text[12..14], &text[14..]].join("-")
    }

    /// Reads the text of a printed code or what a person copied from a label.
    ///
    /// Small letters, spaces and hyphens do not matter, nor does a letter that codes do not
    /// have where a character that looks like it fits.
    pub fn parse(text: &str) -> Result<Self, CodeError> {
        let given: Vec<char> =
            text.chars().filter(|one| !one.is_whitespace() && *one != '-').collect();
        if given.len() != LENGTH {
            return Err(CodeError::Length(given.len()));
        }
        let mut read = String::with_capacity(LENGTH);
        for (at, &one) in given.iter().enumerate() {
            let capital = one.to_ascii_uppercase();
            let (fits, wanted) = match at {
                TEST..11 | 12..14 => (Some(meant(capital)).filter(char::is_ascii_digit), "a digit"),
                11 => (Some(capital).filter(char::is_ascii_uppercase), "a letter"),
                _ => {
                    let known = Some(meant(capital)).filter(|one| value(*one).is_some());
                    (known, "a digit or a capital letter")
                }
            };
            read.push(fits.ok_or(CodeError::Character { place: at + 1, found: one, wanted })?);
        }
        if sum(&read) != 1 {
            return Err(CodeError::Check);
        }
        let number = |from: usize, to: usize| {
            read[from..to].bytes().fold(0, |so_far, digit| so_far * 10 + u32::from(digit - b'0'))
        };
        let page = number(12, 14) as u8;
        Self::new(&read[..TEST], char::from(read.as_bytes()[11]), number(TEST, 11), page)
    }

    /// What to fill with black for the printed code, its top left corner at `origin` and its
    /// side `size_mm` long ([`CODE_SIZE_MM`] is recommended). Boxes overlap, so that no
    /// hairlines show between them.
    pub fn modules(&self, size_mm: f64, origin: [f64; 2]) -> Vec<Box2> {
        let code = QRBuilder::new(self.to_text())
            .version(Version::V01)
            .ecl(ECL::Q)
            .build()
            .expect("15 capital letters and digits fit this version");
        cover(CODE_MODULES, size_mm, origin, |row, column| code[row][column].value())
    }
}

/// A name of six characters for the test that `file` defines: the same for the same bytes
/// everywhere, and another for another file but once in 887 million.
pub fn test_id(file: &[u8]) -> String {
    // FNV-1a, and the finish of SplitMix64 so that all bits weigh in.
    let mut hash = file.iter().fold(0xcbf2_9ce4_8422_2325_u64, |hash, &byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    });
    hash = (hash ^ hash >> 30).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    hash = (hash ^ hash >> 27).wrapping_mul(0x94d0_49bb_1331_11eb);
    hash ^= hash >> 31;
    let mut id = String::with_capacity(TEST);
    for _ in 0..TEST {
        id.extend(CHARACTERS.chars().nth((hash % u64::from(MODULUS)) as usize));
        hash /= u64::from(MODULUS);
    }
    id
}

/// The place of a character among [`CHARACTERS`].
fn value(one: char) -> Option<u32> {
    CHARACTERS.chars().position(|known| known == one).map(|place| place as u32)
}

/// The character that stands for one that looks like it and is not used.
fn meant(one: char) -> char {
    match one {
        'O' => '0',
        'I' | 'L' => '1',
        'S' => '5',
        'U' => 'V',
        other => other,
    }
}

/// The weighted sum of a text's values modulo 31, the last character's weight being 1.
fn sum(text: &str) -> u32 {
    text.char_indices().fold(0, |sum, (at, one)| {
        // The form has all 26 letters. It stands among digits, so an exchange is seen anyway.
        let value = if at == 11 { Some(u32::from(one) - u32::from('A')) } else { value(one) };
        (sum * RADIX + value.unwrap_or(0)) % MODULUS
    })
}

/// Why something is not a sheet's code.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum CodeError {
    /// Too short or too long.
    #[error("a sheet's code has 15 characters, and this has {0}")]
    Length(usize),
    /// A character that cannot stand where it does.
    #[error("character {place} of a sheet's code is {wanted}, and this has “{found}”")]
    Character {
        /// Which character, from 1.
        place: usize,
        /// The character found.
        found: char,
        /// What can stand there.
        wanted: &'static str,
    },
    /// A character is wrong, but not which.
    #[error("the code does not fit its last character: something was misread or mistyped")]
    Check,
    /// Not a test's name.
    #[error("“{0}” cannot name a test: six digits or capital letters do, without I, L, O, S, U")]
    Test(String),
    /// Not a form's letter.
    #[error("a form is a letter from A to Z, not “{0}”")]
    Form(char),
    /// Too large a sheet number.
    #[error("sheets are numbered up to 99,999, not {0}")]
    Sheet(u32),
    /// A page number out of range.
    #[error("pages are numbered from 1 to 99, not {0}")]
    Page(u8),
}
