//! The structs of `plugins/include/curvary_reader.h`, word for word. What each member means stands there.
#![allow(missing_docs, reason = "the header is the text; a second one would drift")]

use core::ffi::{c_char, c_void};
use core::mem::{offset_of, size_of};

/// The major version of the contract.
pub const CONTRACT: u32 = 1;

/// The name of the exported function.
pub const SYMBOL: &str = "curvary_reader_v1";

#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct Text {
    pub at: *const c_char,
    pub len: usize,
}

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Span {
    pub start: u64,
    pub end: u64,
}

#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct Column {
    pub size: u32,
    pub decimal: u32,
    pub header: Text,
    pub quantity: Text,
    pub unit: Text,
    pub count: usize,
    pub cells: *const Text,
    pub numbers: *const f64,
    pub places: *const Span,
}

#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct FixedCoordinate {
    pub quantity: Text,
    pub unit: Text,
    pub value: Text,
    pub place: Span,
}

#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct Pair {
    pub key: Text,
    pub value: Text,
    pub place: Span,
}

#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct Curve {
    pub size: u32,
    pub reserved: u32,
    pub label: Text,
    pub column: *const Column,
    pub held: *const FixedCoordinate,
    pub held_count: usize,
    pub claims: *const Pair,
    pub claim_count: usize,
}

#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct Answer {
    pub answer: Text,
    pub says: Text,
}

#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct Question {
    pub size: u32,
    pub reserved: u32,
    pub about: Text,
    pub message: Text,
    pub answers: *const Answer,
    pub answer_count: usize,
    pub place: Span,
}

#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct SettledQuestion {
    pub about: Text,
    pub answer: Text,
}

pub const NOTE: u32 = 0;
pub const WARNING: u32 = 1;
pub const ERROR: u32 = 2;

#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct Sink {
    pub size: u32,
    pub reserved: u32,
    pub host: *mut c_void,
    pub begin_run: unsafe extern "C" fn(*mut c_void, Text, Span) -> i32,
    pub claim: unsafe extern "C" fn(*mut c_void, Text, Text, Span) -> i32,
    pub axis: unsafe extern "C" fn(*mut c_void, *const Column) -> i32,
    pub curve: unsafe extern "C" fn(*mut c_void, *const Curve) -> i32,
    pub remark: unsafe extern "C" fn(*mut c_void, u32, Text, Text, Span) -> i32,
    pub question: unsafe extern "C" fn(*mut c_void, *const Question) -> i32,
    pub end_run: unsafe extern "C" fn(*mut c_void) -> i32,
}

#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct Source {
    pub size: u32,
    pub reserved: u32,
    pub name: Text,
    pub body: Text,
    pub settled: *const SettledQuestion,
    pub settled_count: usize,
}

pub const DONE: i32 = 0;
pub const NOT_MINE: i32 = 1;

#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct Reader {
    pub size: u32,
    pub contract: u32,
    pub name: Text,
    pub version: Text,
    /// May be a null pointer in what a library hands over, and is looked at before it is called.
    pub read: Option<unsafe extern "C" fn(*const Source, *const Sink) -> i32>,
}

// SAFETY: what a `Reader` points to is constant for the life of the library.
unsafe impl Sync for Reader {}

/// The type of the exported function.
pub type Entry = unsafe extern "C" fn() -> *const Reader;

impl Text {
    /// No text.
    pub const EMPTY: Self = Self {
        at: core::ptr::null(),
        len: 0,
    };

    /// A text that lives as long as it is used.
    #[must_use]
    pub const fn of(text: &str) -> Self {
        Self {
            at: text.as_ptr().cast(),
            len: text.len(),
        }
    }
}

// What a struct of this version is long at least; a longer one has members that this version does not know. A C program
// (tests/layout.c) holds the same numbers against the header.
const _: () = {
    assert!(size_of::<usize>() != 8 || (size_of::<Text>() == 16 && size_of::<Span>() == 16));
    assert!(size_of::<usize>() != 8 || size_of::<Column>() == 88);
    assert!(size_of::<usize>() != 8 || offset_of!(Column, count) == 56);
    assert!(size_of::<usize>() != 8 || offset_of!(Column, places) == 80);
    assert!(size_of::<usize>() != 8 || (size_of::<FixedCoordinate>() == 64 && size_of::<Pair>() == 48));
    assert!(size_of::<usize>() != 8 || (size_of::<Curve>() == 64 && offset_of!(Curve, claims) == 48));
    assert!(size_of::<usize>() != 8 || (size_of::<Answer>() == 32 && size_of::<SettledQuestion>() == 32));
    assert!(size_of::<usize>() != 8 || (size_of::<Question>() == 72 && offset_of!(Question, place) == 56));
    assert!(size_of::<usize>() != 8 || (size_of::<Sink>() == 72 && offset_of!(Sink, end_run) == 64));
    assert!(size_of::<usize>() != 8 || (size_of::<Source>() == 56 && offset_of!(Source, settled) == 40));
    assert!(size_of::<usize>() != 8 || (size_of::<Reader>() == 48 && offset_of!(Reader, read) == 40));
};
