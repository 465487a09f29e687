BEGIN TRANSACTION;
CREATE TABLE drypoint_entries (
	id INTEGER NOT NULL, 
	kind TEXT NOT NULL, 
	form INTEGER NOT NULL, 
	name TEXT NOT NULL, 
	when_utc TEXT NOT NULL, 
	who TEXT NOT NULL, 
	why TEXT NOT NULL, 
	corrects INTEGER, 
	draft TEXT NOT NULL, 
	body TEXT NOT NULL, 
	body_sha256 TEXT NOT NULL, 
	previous TEXT NOT NULL, 
	hash TEXT NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (corrects), 
	FOREIGN KEY(corrects) REFERENCES drypoint_entries (id), 
	UNIQUE (draft)
);
INSERT INTO "drypoint_entries" VALUES(1,'tip',1,'B1','2026-01-31T12:00:00Z','A. Person','test',NULL,'0839cfc9463ff0902ae93b60a72d5449','{"maker":"","name":"B1","note":"","serial":"4711","shape":"modified Berkovich"}','1b16fdf2a4c66e7187d6dc398bb0b274052a3a438abc1c29a97bb576f3f49ff8','9511be8d217d9072128c5c5eff23730941e6f3fff21b29781a67b388f310be6b','96ccaf6498940aab11b01932200ccd55a33b06173bd866b22fedae4d534f4aac');
INSERT INTO "drypoint_entries" VALUES(2,'tip',1,'B2','2026-01-31T12:00:00Z','A. Person','test',NULL,'486df4b47dc74be61fb202a0670f683a','{"maker":"","name":"B2","note":"","serial":"","shape":"Berkovich"}','2190a044bab3723c9e808adc4543525ab6c600bc986e3438082802a361adf675','96ccaf6498940aab11b01932200ccd55a33b06173bd866b22fedae4d534f4aac','7dfe2a6387e828c38c08263d657aabf792540f495155b80c982d2f93e29ac621');
INSERT INTO "drypoint_entries" VALUES(3,'frame',1,'F','2026-01-31T12:00:00Z','A. Person','test',NULL,'2142582b0179ab5240d21050926498a1','{"maker":"","name":"F","note":"","serial":""}','0434d385de13667a6a1a1468ac4aaaf814748354b56d567c59994a2f43602a9f','7dfe2a6387e828c38c08263d657aabf792540f495155b80c982d2f93e29ac621','a383017c6406ae3c6b0586326e0be41e6fe64960e5ac96dd1e5b8f7f7bf386da');
INSERT INTO "drypoint_entries" VALUES(4,'block',1,'glass','2026-01-31T12:00:00Z','A. Person','test',NULL,'682436863b3eea98f8580394f22a5575','{"material":"fused silica","name":"glass","note":"","serial":""}','1ee8923cf749ecb9e8f69c2601f0718ceb3fadfa1384eceb673da972c5172618','a383017c6406ae3c6b0586326e0be41e6fe64960e5ac96dd1e5b8f7f7bf386da','b8ee1e6bec2f8a99c3d093d4648298a8db4bc30e312eb9893040cfe71d28d70c');
INSERT INTO "drypoint_entries" VALUES(5,'certificate',1,'K-17','2026-01-31T12:00:00Z','A. Person','test',NULL,'28463504d9312d831ccf9381f3366328','{"U":0.002,"document_sha256":null,"issued":"2026-01-02","item":"F","k":2.0,"laboratory":"invented","number":"K-17","of":"frame","quantity":"force scale","valid_until":"2027-01-02","value":1.0005}','2ad147720d9e0cc107e029e92e79b797a60eae186a848962f286d07fa63b2682','b8ee1e6bec2f8a99c3d093d4648298a8db4bc30e312eb9893040cfe71d28d70c','400469da118e8c0a478494573261e9d7b6af11005d8e747b5d2df5bf1973c154');
INSERT INTO "drypoint_entries" VALUES(6,'calibration',1,'B1 in F','2026-01-31T12:00:00Z','A. Person','test',NULL,'0c1e36acede5ffb551a2494d88be4fe7','{"frame":"F","materials":["fused silica"],"on":"2026-01-10","sha256":"f590c026f2bf205a937e4d19dafe8769aa414e5c9184ae748927005355f8225d","text":"calibration = 1\n","tip":"B1","valid_until":"2027-01-10","version":"0.1"}','347bb31b537c3b16771b6beaf63252c5c377f74f55ced8ea30c4eb928072fbf6','400469da118e8c0a478494573261e9d7b6af11005d8e747b5d2df5bf1973c154','25683618284ece650e40fe139a08e6b059bd29d9bee576ebee49a64eabafaaeb');
INSERT INTO "drypoint_entries" VALUES(7,'mounting',1,'F','2026-01-31T12:00:00Z','A. Person','test',NULL,'586fe239b1f21f0ebfa6c4c619301710','{"frame":"F","on":"2026-01-09T08:30:00Z","tip":"B1"}','ad15f70628d70137421c9d3a0c6dee4014b7a7176fd586cbd4955c9bc9dd0d7b','25683618284ece650e40fe139a08e6b059bd29d9bee576ebee49a64eabafaaeb','240f4e1722a5daabd0e55391227f47f84fe313207eae1e77bb76ff45f3c6101f');
INSERT INTO "drypoint_entries" VALUES(8,'verification',1,'B1 in F','2026-01-31T12:00:00Z','A. Person','test',NULL,'ab8023881af28ea0c19ace97d6ececca','{"block":"glass","calibration":"f590c026f2bf205a937e4d19dafe8769aa414e5c9184ae748927005355f8225d","frame":"F","how":"indirect","on":"2026-01-11","sha256":"91ffa8c701dfe458f7b4d9e00ec1c8adde8008e8a341b58427f73c0c048e2274","text":"E_n = 0.4\n","tip":"B1","valid_until":null,"verdict":"pass"}','ba97b1810a076f15fec3ded9f39a73c05c5e6199fe5ee49156fb49a227c0ed4f','240f4e1722a5daabd0e55391227f47f84fe313207eae1e77bb76ff45f3c6101f','10c3dc44a46590f64419ce866ee9d99e29be7a656109bd20e215162a7c548faa');
INSERT INTO "drypoint_entries" VALUES(9,'verification',1,'F','2026-01-31T12:00:00Z','A. Person','test',NULL,'5a9189b4ec2cdd45e55b23a43ec2f45a','{"block":null,"calibration":null,"frame":"F","how":"direct","on":"2026-01-11","sha256":"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855","text":"","tip":null,"valid_until":null,"verdict":"undecided"}','99234992e1512bd7ef7dd718f8e89d69fc67afddaca30fc78530440b96d74a68','10c3dc44a46590f64419ce866ee9d99e29be7a656109bd20e215162a7c548faa','84fcf28caec55cbf45084725d562809ecfc4e0a07f7347909616d30280957d1c');
INSERT INTO "drypoint_entries" VALUES(10,'study',1,'glass','2026-01-31T12:00:00Z','A. Person','test',NULL,'5e2ba384a8d7dee16e4a78e35e1d3bde','{"decisions_sha256":null,"measured_from":"2026-01-12","measured_to":"2026-01-13T10:00:00Z","name":"glass","on":"2026-01-20","recipe_sha256":"abababababababababababababababababababababababababababababababab","results_sha256":"abababababababababababababababababababababababababababababababab","used":[{"calibration":"f590c026f2bf205a937e4d19dafe8769aa414e5c9184ae748927005355f8225d","frame":"F","tip":"B1"}],"version":"0.1"}','4bbb105b72d57f79e536e431c509b41816a06132ec99e5fbb4dc79b551027beb','84fcf28caec55cbf45084725d562809ecfc4e0a07f7347909616d30280957d1c','2bab1c684df3789e72a8343ae9bf6387aa6d946bde36017b429b7c560668a0aa');
INSERT INTO "drypoint_entries" VALUES(11,'health',1,'B1','2026-01-31T12:00:00Z','A. Person','test',NULL,'8e7bf30a6139ae59da8f29abb9d2a707','{"area_m2":1.2e-12,"depth_m":2e-07,"frame":"F","material":"","on":"2026-01-11","tests":1,"tip":"B1","u_area_m2":1e-15}','d05424cdc2146f8479a9b57a3f2bb9ed70d67cf1060621295a5274c8187a1fa7','2bab1c684df3789e72a8343ae9bf6387aa6d946bde36017b429b7c560668a0aa','b1de5d41771c75f3aa4dd5cb4a0b1063b5876642687b352d62051ff6fd4eac69');
INSERT INTO "drypoint_entries" VALUES(12,'remark',1,'B1','2026-01-31T12:00:00Z','A. Person','test',NULL,'2c5dceebdf16456812e489b470ec6433','{"about":"B1","entry":1,"text":"“µm” – ü\n2"}','38dbc49148ca254e6bc8c6a0f8c77534e63424bc46e139e5b4312bdb36247122','b1de5d41771c75f3aa4dd5cb4a0b1063b5876642687b352d62051ff6fd4eac69','e7d31a493f0c0147f365aa583dc574a4ea19231ff5b4093ab79ae16ab23014ac');
INSERT INTO "drypoint_entries" VALUES(13,'signature',1,'calibration B1 in F','2026-01-31T12:00:00Z','B. Person','approval',NULL,'e73c4355806586a6b25735b6bae4adfa','{"entry":6,"meaning":"approved","remark":"","sha256":"25683618284ece650e40fe139a08e6b059bd29d9bee576ebee49a64eabafaaeb","subject":"calibration B1 in F"}','819b99119f554da5912d21bf3008527ca9c4edad13299e1761e631bb92830109','e7d31a493f0c0147f365aa583dc574a4ea19231ff5b4093ab79ae16ab23014ac','ccccda2a1e801ed78bdb155383542993e07a6954db9e5bbad27c82aca4989c23');
INSERT INTO "drypoint_entries" VALUES(14,'tip',1,'B2','2026-01-31T12:00:00Z','A. Person','test',2,'277f3e19f57d835fc1f6a5e844a7af00','{"maker":"","name":"B2","note":"corrected","serial":"","shape":"Berkovich"}','e18ac9b3b3a8ba0712f8be9ab15f725af53b5110eb6242489f4993d5dd416542','ccccda2a1e801ed78bdb155383542993e07a6954db9e5bbad27c82aca4989c23','b798164142eed110b4d79ba04cc5cffef6fb74cac7e670ba7991453bd3c5015b');
INSERT INTO "drypoint_entries" VALUES(15,'withdrawal',1,'F','2026-01-31T12:00:00Z','A. Person','entered twice',9,'610af8ba5f1b9f72ea80091f3b21c8c3','{"of":"F"}','c1d2e8dda626deedc6049ffec889d356daf0ab52434347d2b304724bfbf49503','b798164142eed110b4d79ba04cc5cffef6fb74cac7e670ba7991453bd3c5015b','e05c39ec6e5e9c2ca3e6aaa8716a2a5e93f99aa55bc12d95925d329dc3389c62');
CREATE TABLE drypoint_ledger (
	fact TEXT NOT NULL, 
	value TEXT NOT NULL, 
	PRIMARY KEY (fact)
);
INSERT INTO "drypoint_ledger" VALUES('schema','1');
INSERT INTO "drypoint_ledger" VALUES('identity','87ce223b-a38b-4d8d-b6a6-f6358c20b23d');
CREATE TABLE drypoint_links (
	entry INTEGER NOT NULL, 
	role TEXT NOT NULL, 
	name TEXT NOT NULL, 
	PRIMARY KEY (entry, role, name), 
	FOREIGN KEY(entry) REFERENCES drypoint_entries (id)
);
INSERT INTO "drypoint_links" VALUES(1,'tip','B1');
INSERT INTO "drypoint_links" VALUES(2,'tip','B2');
INSERT INTO "drypoint_links" VALUES(3,'frame','F');
INSERT INTO "drypoint_links" VALUES(4,'block','glass');
INSERT INTO "drypoint_links" VALUES(5,'frame','F');
INSERT INTO "drypoint_links" VALUES(6,'tip','B1');
INSERT INTO "drypoint_links" VALUES(6,'frame','F');
INSERT INTO "drypoint_links" VALUES(6,'calibration','f590c026f2bf205a937e4d19dafe8769aa414e5c9184ae748927005355f8225d');
INSERT INTO "drypoint_links" VALUES(7,'tip','B1');
INSERT INTO "drypoint_links" VALUES(7,'frame','F');
INSERT INTO "drypoint_links" VALUES(8,'tip','B1');
INSERT INTO "drypoint_links" VALUES(8,'frame','F');
INSERT INTO "drypoint_links" VALUES(8,'block','glass');
INSERT INTO "drypoint_links" VALUES(8,'calibration','f590c026f2bf205a937e4d19dafe8769aa414e5c9184ae748927005355f8225d');
INSERT INTO "drypoint_links" VALUES(9,'frame','F');
INSERT INTO "drypoint_links" VALUES(10,'recipe','abababababababababababababababababababababababababababababababab');
INSERT INTO "drypoint_links" VALUES(10,'results','abababababababababababababababababababababababababababababababab');
INSERT INTO "drypoint_links" VALUES(10,'tip','B1');
INSERT INTO "drypoint_links" VALUES(10,'frame','F');
INSERT INTO "drypoint_links" VALUES(10,'calibration','f590c026f2bf205a937e4d19dafe8769aa414e5c9184ae748927005355f8225d');
INSERT INTO "drypoint_links" VALUES(11,'tip','B1');
INSERT INTO "drypoint_links" VALUES(11,'frame','F');
INSERT INTO "drypoint_links" VALUES(12,'entry','1');
INSERT INTO "drypoint_links" VALUES(13,'entry','6');
INSERT INTO "drypoint_links" VALUES(13,'signed','25683618284ece650e40fe139a08e6b059bd29d9bee576ebee49a64eabafaaeb');
INSERT INTO "drypoint_links" VALUES(14,'tip','B2');
CREATE INDEX drypoint_entries_name ON drypoint_entries (kind, name);
CREATE INDEX drypoint_links_name ON drypoint_links (role, name);
CREATE TRIGGER drypoint_entries_no_update BEFORE UPDATE ON drypoint_entries BEGIN SELECT RAISE(ABORT, 'entries of a ledger are never changed or removed'); END;
CREATE TRIGGER drypoint_entries_no_delete BEFORE DELETE ON drypoint_entries BEGIN SELECT RAISE(ABORT, 'entries of a ledger are never changed or removed'); END;
CREATE TRIGGER drypoint_links_no_update BEFORE UPDATE ON drypoint_links BEGIN SELECT RAISE(ABORT, 'entries of a ledger are never changed or removed'); END;
CREATE TRIGGER drypoint_links_no_delete BEFORE DELETE ON drypoint_links BEGIN SELECT RAISE(ABORT, 'entries of a ledger are never changed or removed'); END;
COMMIT;
