//! A practice page as a package for learning-management systems: SCORM 1.2, SCORM 2004, or a
//! plain archive.
//!
//! The manifest says what the standard asks for and no more: one organization with one item, one
//! resource with one file. Where the page finds a system's interface it reports its score; that is
//! in `assets/practice/report.js`.

use std::io::{Cursor, Write as _};

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use crate::failure::Failure;

/// The page's name in every package.
const PAGE: &str = "index.html";
/// The name that the standard gives the manifest.
const MANIFEST: &str = "imsmanifest.xml";

/// What a package is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Package {
    /// The page in an archive
    Zip,
    /// SCORM 1.2 (ADL, 2001)
    #[value(name = "scorm-1.2")]
    Scorm12,
    /// SCORM 2004, fourth edition (ADL, 2009)
    #[value(name = "scorm-2004")]
    Scorm2004,
}

impl Package {
    /// The archive with `page` in it, for a test called `title` whose code is `id`.
    pub(crate) fn archive(self, page: &str, title: &str, id: &str) -> Result<Vec<u8>, Failure> {
        let manifest = match self {
            Self::Zip => None,
            Self::Scorm12 => Some(manifest(SCORM_12, title, id)),
            Self::Scorm2004 => Some(manifest(SCORM_2004, title, id)),
        };
        let files = manifest.iter().map(|text| (MANIFEST, text.as_str())).chain([(PAGE, page)]);
        archive(files)
            .map_err(|error| Failure::Other(format!("the archive cannot be made: {error}")))
    }
}

/// Files as they are, each of the same date, so that the same page makes the same bytes.
fn archive<'a>(files: impl Iterator<Item = (&'a str, &'a str)>) -> zip::result::ZipResult<Vec<u8>> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Stored);
    for (name, text) in files {
        zip.start_file(name, options)?;
        zip.write_all(text.as_bytes())?;
    }
    Ok(zip.finish()?.into_inner())
}

/// What editions of the standard call things: the packaging namespace, their own, their version,
/// and the attribute that says what a resource is.
const SCORM_12: [&str; 4] = [
    "http://www.imsproject.org/xsd/imscp_rootv1p1p2",
    "http://www.adlnet.org/xsd/adlcp_rootv1p2",
    "1.2",
    "scormtype",
];
const SCORM_2004: [&str; 4] = [
    "http://www.imsglobal.org/xsd/imscp_v1p1",
    "http://www.adlnet.org/xsd/adlcp_v1p3",
    "2004 4th Edition",
    "scormType",
];

fn manifest([space, own, version, kind]: [&str; 4], title: &str, id: &str) -> String {
    let (title, id) = (escaped(title), escaped(id));
    format!(
        r#"<?xml version="1.0" encoding="UTF-8"?>
<manifest identifier="incisura-{id}" version="1.0"
    xmlns="{space}"
    xmlns:adlcp="{own}">
  <metadata>
    <schema>ADL SCORM</schema>
    <schemaversion>{version}</schemaversion>
  </metadata>
  <organizations default="practice">
    <organization identifier="practice">
      <title>{title}</title>
      <item identifier="task" identifierref="page">
        <title>{title}</title>
      </item>
    </organization>
  </organizations>
  <resources>
    <resource identifier="page" type="webcontent" adlcp:{kind}="sco" href="{PAGE}">
      <file href="{PAGE}"/>
    </resource>
  </resources>
</manifest>
"#
    )
}

/// Text as it may stand in XML.
fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            // XML has no way to write these.
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => escaped.push(' '),
            c => escaped.push(c),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use std::io::Read as _;

    use roxmltree::Document;
    use zip::ZipArchive;

    use super::*;

    const TITLE: &str = "</title> & \"quiz\" <script>\u{0}\u{1b}";

    fn unpacked(package: Package) -> Vec<(String, String)> {
        let bytes = package.archive("<!DOCTYPE html>page", TITLE, "0AB1CD").unwrap();
        assert_eq!(bytes, package.archive("<!DOCTYPE html>page", TITLE, "0AB1CD").unwrap());
        let mut zip = ZipArchive::new(Cursor::new(bytes)).unwrap();
        let count = zip.len();
        let file = |at| {
            let mut file = zip.by_index(at).unwrap();
            let mut text = String::new();
            file.read_to_string(&mut text).unwrap();
            (file.name().unwrap().into_owned(), text)
        };
        (0..count).map(file).collect()
    }

    #[test]
    fn a_plain_archive_has_the_page_alone() {
        let files = unpacked(Package::Zip);
        assert_eq!(files, [(PAGE.to_owned(), "<!DOCTYPE html>page".to_owned())]);
    }

    #[test]
    fn manifests_are_well_formed_and_name_the_page() {
        for (package, version, kind) in [
            (Package::Scorm12, "1.2", "scormtype"),
            (Package::Scorm2004, "2004 4th Edition", "scormType"),
        ] {
            let files = unpacked(package);
            assert_eq!((files[0].0.as_str(), files[1].0.as_str()), (MANIFEST, PAGE));
            let manifest = Document::parse(&files[0].1).unwrap();
            let named = |name: &str| {
                let found = manifest.descendants().find(|node| node.tag_name().name() == name);
                found.unwrap_or_else(|| panic!("no {name}"))
            };
            assert!(manifest.descendants().all(|node| !node.has_tag_name("script")));
            assert_eq!(named("title").text(), Some("</title> & \"quiz\" <script>  "));
            assert_eq!(named("schemaversion").text(), Some(version));
            let resource = named("resource");
            assert_eq!(resource.attribute("href"), Some(PAGE));
            let space = resource.attributes().find(|one| one.name() == kind);
            assert_eq!(space.map(|one| one.value()), Some("sco"));
            assert_eq!(named("item").attribute("identifierref"), resource.attribute("identifier"));
            assert_eq!(
                named("organizations").attribute("default"),
                named("organization").attribute("identifier")
            );
        }
    }
}
