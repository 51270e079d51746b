//! Where files come from: a folder, or an upload in memory.

use std::collections::BTreeMap;
use std::fmt;
use std::fs::File;
use std::io::{self, Cursor, Read, Seek, SeekFrom};
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

use super::error::{Place, ReadError, ReadFault};

/// A file's bytes from any place on.
pub trait Stream: Read + Seek + Send {}

impl<T: Read + Seek + Send> Stream for T {}

/// The files of a recording by name: a WFDB record is several.
pub trait Files: Send {
    /// Opens the file called `name`, relative to where the recording lies.
    ///
    /// # Errors
    ///
    /// As the operating system says; of kind `NotFound` where there is none.
    fn open(&self, name: &str) -> io::Result<Box<dyn Stream>>;
}

/// Files in a folder.
#[derive(Clone, Debug)]
pub struct Folder(PathBuf);

impl Folder {
    /// The files in `folder` and below it.
    pub fn new(folder: impl Into<PathBuf>) -> Self {
        Self(folder.into())
    }
}

impl Files for Folder {
    fn open(&self, name: &str) -> io::Result<Box<dyn Stream>> {
        let path = self.0.join(name);
        // Looked at before it is opened: to open a pipe would wait for someone to write into it.
        if !std::fs::metadata(&path)?.is_file() {
            return Err(io::Error::new(io::ErrorKind::InvalidInput, "it is not a regular file"));
        }
        Ok(Box::new(File::open(path)?))
    }
}

/// Files in memory, such as an upload.
#[derive(Clone, Default)]
pub struct Memory(BTreeMap<String, Arc<[u8]>>);

impl Memory {
    /// A single file.
    pub fn one(name: &str, bytes: Vec<u8>) -> Self {
        Self(BTreeMap::from([(name.to_owned(), bytes.into())]))
    }
}

impl FromIterator<(String, Vec<u8>)> for Memory {
    fn from_iter<T: IntoIterator<Item = (String, Vec<u8>)>>(files: T) -> Self {
        Self(files.into_iter().map(|(name, bytes)| (name, bytes.into())).collect())
    }
}

impl fmt::Debug for Memory {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.debug_map().entries(self.0.iter().map(|(name, bytes)| (name, bytes.len()))).finish()
    }
}

impl Files for Memory {
    fn open(&self, name: &str) -> io::Result<Box<dyn Stream>> {
        let bytes = self.0.get(name).ok_or(io::ErrorKind::NotFound)?;
        Ok(Box::new(Cursor::new(Arc::clone(bytes))))
    }
}

/// Opens a file that a header names, if the name stays inside the folder.
pub(crate) fn open_named(files: &dyn Files, header: &str, name: &str) -> Result<Bytes, ReadError> {
    let inside = !name.is_empty()
        && !name.contains(['\\', '\0'])
        && Path::new(name)
            .components()
            .all(|part| matches!(part, Component::Normal(_) | Component::CurDir));
    if !inside {
        return Err(ReadFault::Outside(super::error::excerpt(name)).of(header));
    }
    Bytes::open(files, name)
}

/// An open file of known length.
pub(crate) struct Bytes {
    pub(crate) name: String,
    pub(crate) length: u64,
    pub(crate) stream: Box<dyn Stream>,
}

impl Bytes {
    pub(crate) fn open(files: &dyn Files, name: &str) -> Result<Self, ReadError> {
        let opened = files.open(name).and_then(|mut stream| {
            let length = stream.seek(SeekFrom::End(0))?;
            Ok(Self { name: name.to_owned(), length, stream })
        });
        opened.map_err(|error| ReadFault::from(error).of(name))
    }

    /// Fills `buffer` from `offset` on, as far as the file goes; says how far.
    pub(crate) fn read_at(&mut self, offset: u64, buffer: &mut [u8]) -> Result<usize, ReadError> {
        self.try_read_at(offset, buffer)
            .map_err(|error| ReadFault::from(error).at(&self.name, Place::Byte(offset)))
    }

    fn try_read_at(&mut self, offset: u64, buffer: &mut [u8]) -> io::Result<usize> {
        if offset >= self.length {
            return Ok(0);
        }
        self.stream.seek(SeekFrom::Start(offset))?;
        let mut filled = 0;
        while filled < buffer.len() {
            match self.stream.read(&mut buffer[filled..]) {
                Ok(0) => break,
                Ok(count) => filled += count,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        Ok(filled)
    }

    /// The file's first bytes, `most` at most.
    pub(crate) fn head(&mut self, most: usize) -> Result<Vec<u8>, ReadError> {
        let most = most.min(usize::try_from(self.length).unwrap_or(most));
        let mut head = vec![0; most];
        let filled = self.read_at(0, &mut head)?;
        head.truncate(filled);
        Ok(head)
    }
}
